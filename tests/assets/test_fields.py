"""Reading, checking and storing what can be stated about an asset."""

from __future__ import annotations

import dataclasses
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.assets.battery import Battery
from tagkit.assets.charger import Charger
from tagkit.assets.fields import fields_of, plate_from, read_fact, stored_plate
from tagkit.assets.kinds import PLATES, plate_of
from tagkit.assets.lifting import Lifting
from tagkit.assets.room import Room
from tagkit.assets.stated import Source, Stated
from tagkit.assets.tag import Kind
from tagkit.assets.truck import Truck
from tagkit.errors import TagkitError, WrongInput
from tagkit.units import Ambiguous, quantity


def read(plate, name, text, **how):
    return read_fact(fields_of(plate)[name], text, Source.STAMPED, **how).value


@pytest.mark.parametrize(
    ("plate", "name", "text", "value"),
    [
        (Battery, "voltage", "48 V", quantity(48, "V")),
        (Battery, "voltage", "48", quantity(48, "V")),
        (Battery, "weight", "2,450 lb", quantity(2450, "lb")),
        (Battery, "cells", "24", 24),
        (Battery, "cells", "24 cells", 24),
        (Battery, "cells", "24.0", 24),
        (Battery, "cells", "24 Zellen", 24),
        (Battery, "capacity_rate", "5 h", 5),
        (Battery, "chemistry", "Vented Lead-Acid", "vented"),
        (Battery, "chemistry", "lead acid", "vented"),
        (Battery, "chemistry", "PzV", "gel"),
        (Battery, "chemistry", "LiFePO4", "lithium"),
        (Battery, "chemistry", "Blei-Säure", "vented"),
        (Battery, "chemistry", "ion-litio", "lithium"),
        (Battery, "cable_side", "LH", "left"),
        (Battery, "cable_side", "rechts", "right"),
        (Battery, "hazard_type", "EE", "EE"),
        (Battery, "connector", "  grey\t175 A ", "grey 175 A"),
        (Battery, "made_on", "2024", "2024"),
        (Battery, "made_on", "2024-3", "2024-03"),
        (Battery, "made_on", "03/2024", "2024-03"),
        (Battery, "made_on", "17.3.2024", "2024-03-17"),
        (Battery, "made_on", "25/3/2024", "2024-03-25"),
        (Battery, "made_on", "3/25/2024", "2024-03-25"),
        (Battery, "made_on", "5/5/2024", "2024-05-05"),
        (Truck, "chemistries", "vented, gel", ("vented", "gel")),
        (Truck, "chemistries", "gel / lead acid", ("vented", "gel")),
        (Truck, "chemistries", "lead-acid", ("vented",)),
        (Truck, "leaves_by", "rollers", "roll"),
        (Charger, "voltages", "24/48 V", (quantity(24, "V"), quantity(48, "V"))),
        (Charger, "voltages", "24 V and 48 V", (quantity(24, "V"), quantity(48, "V"))),
        (Charger, "voltages", "24, 36, 48", tuple(quantity(v, "V") for v in (24, 36, 48))),
        (Charger, "characteristic", "Wa", "w"),
        (Lifting, "insulated", "yes", True),
        (Lifting, "insulated", "Nein", False),
        (Lifting, "gear", "spreader beam", "beam"),
        (Room, "check_every", "7 days", 7),
        (Room, "equipment", "Eye-wash", "eyewash"),
    ],
)
def test_what_is_written_is_what_is_meant(plate, name, text, value):
    assert read(plate, name, text) == value


@pytest.mark.parametrize(
    ("plate", "name", "text", "says"),
    [
        (Battery, "voltage", "1", "not possible"),
        (Battery, "voltage", "4800 V", "between 2 V and 160 V"),
        (Battery, "weight", "7 kg", "between 20 kg and 6000 kg"),
        (Battery, "weight", "7 lb", "between 44 lb"),
        (Battery, "weight", "0 kg", "not possible"),
        (Battery, "weight", "-1111 kg", "not possible"),
        (Battery, "cells", "24 V", "whole number"),
        (Battery, "cells", "24.5", "not possible"),
        (Battery, "cells", "0", "between 1 and 80"),
        (Battery, "cells", "twelve", "whole number"),
        (Battery, "chemistry", "soup", "not one of: vented lead-acid"),
        (Battery, "connector", "x" * 121, "too many"),
        (Battery, "made_on", "3/4/2024", "day/month or month/day"),
        (Battery, "made_on", "31.2.2024", "not a date"),
        (Battery, "made_on", "45000", "not a date"),
        (Battery, "made_on", "soon", "not a date"),
        (Truck, "chemistries", "vented, soup", "not one of"),
        (Charger, "voltages", ";", "no figure"),
        (Charger, "voltages", "24/480 V", "not possible"),
        (Lifting, "insulated", "perhaps", "neither yes nor no"),
    ],
)
def test_what_can_not_be_is_refused_with_field_value_and_remedy(plate, name, text, says):
    with pytest.raises(WrongInput, match=says) as caught:
        read(plate, name, text)
    assert caught.value.where == fields_of(plate)[name].label
    assert caught.value.remedy


def test_a_thousand_cycles_are_not_one():
    with pytest.raises(Ambiguous):
        read(Battery, "rated_cycles", "1.000")
    assert read(Battery, "rated_cycles", "1.000", decimal_mark="comma") == 1000
    assert read(Battery, "rated_cycles", "1,500", decimal_mark="point") == 1500
    with pytest.raises(Ambiguous):
        read(Room, "check_every", "1.000")


def test_two_voltages_with_a_bare_comma_are_asked_about():
    with pytest.raises(Ambiguous):
        read(Charger, "voltages", "24,48")


def test_limits_are_inclusive_in_any_unit():
    assert read(Battery, "voltage", "160 V") == quantity(160, "V")
    assert read(Battery, "weight", "6 t").exact() == Fraction(6000)


SAMPLE = {
    "quantity": lambda spec: quantity(str(spec.high), spec.dimension.value),
    "quantities": lambda spec: (quantity(24, "V"), quantity(48, "V")),
    "number": lambda spec: int(spec.high),
    "text": lambda spec: "as read off it",
    "choice": lambda spec: next(iter(spec.choices)),
    "choices": lambda spec: tuple(spec.choices)[:2],
    "flag": lambda spec: False,
    "date": lambda spec: "2024-03",
}


@pytest.mark.parametrize("kind", list(Kind))
def test_every_field_of_every_nameplate_comes_back_from_storage(kind):
    cls = PLATES[kind]
    facts = {
        name: Stated(SAMPLE[spec.reads](spec), Source.NAMEPLATE)
        for name, spec in fields_of(cls).items()
    }
    assert len(facts) == len(dataclasses.fields(cls))
    plate = cls(**facts)
    stored = stored_plate(plate)
    assert plate_of(kind, stored) == plate
    assert plate_from(cls, {**stored, "a later field": {"value": 1, "source": "stamped"}}) == plate


def test_unknown_facts_are_not_stored():
    assert stored_plate(Battery()) == {}
    assert plate_of(Kind.BATTERY, {"voltage": None}) == Battery()


every_field = st.sampled_from([(cls, name) for cls in PLATES.values() for name in fields_of(cls)])


@given(
    every_field,
    st.text(max_size=30) | st.text(st.sampled_from("0123456789.,/-V kglb"), max_size=12),
)
def test_any_text_is_a_fact_or_an_error_with_a_remedy(field, text):
    try:
        value = read(*field, text)
    except TagkitError as error:
        assert error.problem
        assert error.remedy
        assert error.where
    else:
        assert value is not None
        fact = Stated(value, Source.STAMPED)
        plate = field[0](**{field[1]: fact})
        assert plate_from(field[0], stored_plate(plate)) == plate
