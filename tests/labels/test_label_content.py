"""What a label says: figures with their units, what is unknown, what is to be confirmed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from label_samples import battery, plate
from tagkit.assets.battery import Battery
from tagkit.assets.charger import Charger
from tagkit.assets.fields import Field, fields_of
from tagkit.assets.kinds import PLATES as KINDS
from tagkit.assets.on_label import behind
from tagkit.assets.stated import Source, Stated
from tagkit.assets.tag import Kind, serials_after, tag_for
from tagkit.assets.truck import Truck
from tagkit.errors import WrongInput
from tagkit.labels.content import LabelContent, content_for
from tagkit.units import quantity


def label(kind: Kind, facts, language: str = "en", **options) -> LabelContent:
    tag = tag_for(kind, "QM", next(serials_after(kind, "QM", 416)))
    return content_for(kind, tag, facts, str(tag), language, "Quillmoor Cold Store", **options)


def figure(content: LabelContent, name: str):
    return next(found for found in content.figures if found.name == name)


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("1111 kg", ("1111 kg", "2449 lb")),
        ("2,450 lb", ("2450 lb", "1111 kg")),
        ("2,450.5 lb", ("2450.5 lb", "1112 kg")),
        ("1.5 t", ("1500 kg", "3307 lb")),
    ],
)
def test_a_weight_is_given_as_marked_and_in_the_other_unit(written, said):
    content = label(Kind.BATTERY, battery(weight=written))
    assert figure(content, "weight").parts == said


def test_the_limits_of_a_truck_are_converted_inwards():
    """1000 kg is 2204.6 lb, 1150 kg is 2535.3 lb; 2200 lb is 997.9 kg, 2600 lb 1179.3 kg."""
    metric = plate(Truck, Source.NAMEPLATE, weight_min="1000 kg", weight_max="1150 kg")
    assert figure(label(Kind.TRUCK, metric), "weight").parts == (
        "1000 – 1150 kg", "2205 – 2535 lb",
    )  # fmt: skip
    customary = plate(Truck, Source.NAMEPLATE, weight_min="2,200 lb", weight_max="2,600 lb")
    assert figure(label(Kind.TRUCK, customary), "weight").parts == (
        "2200 – 2600 lb", "998 – 1179 kg",
    )  # fmt: skip


def test_limits_marked_in_two_units_are_still_given_in_one_each():
    mixed = plate(Truck, Source.NAMEPLATE, weight_min="1000 kg", weight_max="2,600 lb")
    assert figure(label(Kind.TRUCK, mixed), "weight").parts == (
        "1000 – 1179 kg", "2205 – 2600 lb",
    )  # fmt: skip


def test_half_a_weight_window_is_not_known():
    half = plate(Truck, Source.NAMEPLATE, weight_min="1000 kg")
    assert figure(label(Kind.TRUCK, half), "weight").state == "unknown"


def test_a_rated_load_is_never_rounded_up():
    from tagkit.assets.lifting import Lifting

    gear = plate(Lifting, Source.NAMEPLATE, rated_load="2000 kg", own_weight="85 kg")
    content = label(Kind.LIFTING, gear)
    assert figure(content, "rated load").parts == ("2000 kg", "4409 lb")  # 4409.2
    assert figure(content, "weight").parts == ("85 kg", "188 lb")  # 187.4


def test_capacity_comes_with_the_hours_it_is_stated_at():
    assert figure(label(Kind.BATTERY, battery()), "capacity").side_by_side == "775 Ah (5 h)"
    without = plate(Battery, capacity="775 Ah")
    assert figure(label(Kind.BATTERY, without), "capacity").side_by_side == (
        "775 Ah (rate not known)"
    )


def test_a_charger_shows_all_its_voltages_and_its_capacity_range():
    facts = plate(Charger, Source.NAMEPLATE, voltages="24 / 48 V", capacity_min="400 Ah",
                  capacity_max="840 Ah", capacity_rate="5")  # fmt: skip
    content = label(Kind.CHARGER, facts)
    assert figure(content, "voltage").side_by_side == "24 / 48 V"
    assert figure(content, "capacity").side_by_side == "400 – 840 Ah (5 h)"


@pytest.mark.parametrize("kind", [Kind.BATTERY, Kind.TRUCK, Kind.CHARGER])
@pytest.mark.parametrize(
    ("language", "said"), [("en", "not known: do not use"), ("es", "no se conoce: no usar")]
)
def test_what_nobody_knows_says_not_to_use_it(kind, language, said):
    empty = {Kind.BATTERY: Battery(), Kind.TRUCK: Truck(), Kind.CHARGER: Charger()}[kind]
    content = label(kind, empty, language)
    for found in content.figures:
        if found.name != "connector":
            assert found.state == "unknown"
            assert found.parts == (said,)
            assert "enter" in found.caption or "anotar" in found.caption


def test_a_figure_from_a_suppliers_sheet_is_marked_as_to_be_confirmed():
    content = label(Kind.BATTERY, battery(Source.CATALOGUE))
    for name in ("voltage", "weight", "capacity", "chemistry"):
        assert figure(content, name).state == "to be confirmed"
        assert "to be confirmed" in figure(content, name).caption
    stamped = label(Kind.BATTERY, battery())
    assert "to be confirmed" not in figure(stamped, "weight").caption


def test_one_unconfirmed_limit_leaves_the_window_to_be_confirmed():
    low = plate(Truck, Source.CATALOGUE, weight_min="1000 kg")
    high = plate(Truck, Source.NAMEPLATE, weight_max="1150 kg")
    facts = Truck(weight_min=low.weight_min, weight_max=high.weight_max)
    assert figure(label(Kind.TRUCK, facts), "weight").state == "to be confirmed"


def test_approved_ballast_is_named_with_the_total():
    content = label(Kind.BATTERY, battery(weight="2100 kg", ballast="150 kg"))
    assert "with approved ballast 2250 kg" in figure(content, "weight").caption


def test_ballast_in_another_unit_is_added_before_rounding():
    """2450.5 lb + 1000 kg = 2450.5 + 2204.62 lb = 4655.1 lb."""
    content = label(Kind.BATTERY, battery(weight="2,450.5 lb", ballast="1 t"))
    assert "4655 lb" in figure(content, "weight").caption


def test_ballast_from_a_sheet_is_to_be_confirmed_even_where_the_weight_is_stamped():
    stamped = battery(weight="1100 kg")
    sheet = battery(Source.CATALOGUE, ballast="100 kg")
    content = label(Kind.BATTERY, replace(stamped, ballast=sheet.ballast))
    assert figure(content, "weight").caption.endswith("ballast 1200 kg to be confirmed")
    assert figure(content, "weight").state == "known"


def test_after_marrying_only_what_was_stamped_is_known():
    """Voltage and weight were keyed in from the case; the rest still stands in the sheet."""
    sheet = battery(
        Source.CATALOGUE, voltage="48 V", weight="1100 kg", capacity="775 Ah", capacity_rate="5",
        chemistry="vented",
    )  # fmt: skip
    stamped = battery(voltage="48 V", weight="1104 kg")
    content = label(
        Kind.BATTERY, replace(sheet, voltage=stamped.voltage, weight=stamped.weight), "es"
    )
    states = {found.name: found.state for found in content.figures}
    assert states["voltage"] == states["weight"] == "known"
    assert states["capacity"] == states["chemistry"] == "to be confirmed"
    assert "por confirmar" in figure(content, "capacity").caption


def test_a_chargers_range_rests_on_its_rate_too():
    facts = plate(Charger, Source.NAMEPLATE, capacity_min="400 Ah", capacity_max="840 Ah")
    sheet = plate(Charger, Source.CATALOGUE, capacity_rate="5")
    content = label(Kind.CHARGER, replace(facts, capacity_rate=sheet.capacity_rate))
    assert figure(content, "capacity").state == "to be confirmed"


def test_a_vented_or_unknown_battery_warns_of_acid_and_a_lithium_one_of_its_charger():
    for facts in (battery(), Battery()):
        content = label(Kind.BATTERY, facts)
        assert "Acid" in content.cautions[0]
        assert {"W023", "W021", "W026", "P003", "M004", "M009"} == set(content.signs)
    assert "own charger" in label(Kind.BATTERY, battery(chemistry="lithium")).cautions[0]
    assert "Never open" in label(Kind.BATTERY, battery(chemistry="agm")).cautions[0]


@pytest.mark.parametrize("kind", list(Kind))
def test_every_caution_defers_to_the_makers_instructions(kind):
    from tagkit.assets.kinds import PLATES

    english, spanish = label(kind, PLATES[kind](), "en+es").cautions
    assert "maker's instructions" in english
    assert "instrucciones del fabricante" in spanish


def test_serial_and_order_of_unloading_are_for_sorting():
    assert label(Kind.BATTERY, battery(), unloading=12).sorting == (
        "unloading no. 12 · serial 889-23-0417"
    )
    assert label(Kind.BATTERY, Battery()).sorting == "no serial given"


def test_letters_that_the_font_does_not_have_are_marked():
    assert label(Kind.BATTERY, battery(maker_serial="K🔋7")).sorting == "serial K\ufffd7"


def test_a_truck_shows_its_fleet_number_and_a_charger_its_bay():
    assert label(Kind.TRUCK, plate(Truck, fleet_number="R-07")).title == "TRUCK  R-07"
    assert label(Kind.CHARGER, plate(Charger, bay="Row A, 3")).title == "CHARGER  Row A, 3"


@pytest.mark.parametrize(
    ("kind", "facts", "options", "says"),
    [
        (Kind.BATTERY, Truck(), {}, "is not the number of a battery"),
        (Kind.BATTERY, Battery(), {"language": "fr"}, "Use one of: en, es"),
        (Kind.BATTERY, Battery(), {"revision": 0}, "Count revisions from 1"),
    ],
)
def test_what_can_not_be_on_a_label_is_refused(kind, facts, options, says):
    with pytest.raises(WrongInput, match=says):
        label(kind, facts, **options)


ONE, OTHER = Decimal(24), Decimal(48)


def two_of(spec: Field) -> tuple[Any, Any]:
    """Two values of a field that differ."""
    if spec.reads in ("choice", "choices"):
        first, second = list(spec.choices)[:2]
        return (first, second) if spec.reads == "choice" else ((first,), (second,))
    unit = {"A·h": "Ah"}.get(spec.dimension.value, spec.dimension.value)
    return {
        "quantity": lambda: (quantity(ONE, unit), quantity(OTHER, unit)),
        "quantities": lambda: ((quantity(ONE, unit),), (quantity(OTHER, unit),)),
        "number": lambda: (5, 6),
        "flag": lambda: (True, False),
        "date": lambda: ("2024", "2025"),
        "text": lambda: ("RA 3", "RB 4"),
    }[spec.reads]()


@pytest.mark.parametrize("kind", Kind, ids=lambda kind: kind.noun)
def test_what_makes_a_label_old_is_what_stands_on_it(kind: Kind) -> None:
    fields = fields_of(KINDS[kind])
    facts = {name: Stated(two_of(spec)[0], Source.STAMPED) for name, spec in fields.items()}

    def said(**changed: Stated[Any]) -> tuple[Any, ...]:
        found = label(kind, KINDS[kind](**{**facts, **changed}))
        return found.title, found.figures

    def old(before: Mapping[str, Any], **changed: Stated[Any]) -> bool:
        now = {name: fact.stored() for name, fact in {**facts, **changed}.items()}
        return bool(behind(kind.value, before, now))

    printed = {name: fact.stored() for name, fact in facts.items()}
    assert not old(printed)
    for name, spec in fields.items():
        for fact in (
            Stated(two_of(spec)[1], Source.STAMPED),
            Stated(two_of(spec)[0], Source.CATALOGUE),
            Stated(two_of(spec)[0], Source.NAMEPLATE),
        ):
            assert old(printed, **{name: fact}) == (said(**{name: fact}) != said()), name
