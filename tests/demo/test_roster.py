"""Quillmoor's sheets: figures hold together, and the built-in troubles are there."""

import csv
import re

import pytest
from tagkit.assets.fields import fields_of, plate_from, read_fact, stored_plate
from tagkit.assets.kinds import PLATES, AnyPlate
from tagkit.assets.stated import Source
from tagkit.assets.tag import Kind
from tagkit.demo.roster import SHOWCASE, TROUBLES, first_tags, fleet_sheets, people


def plates(kind: Kind) -> dict[str, AnyPlate]:
    """The nameplates of one sheet, read by the names of the fields themselves."""
    sheet = next(sheet for sheet in fleet_sheets() if sheet.kind is kind)
    specs = {spec.label.lower(): (name, spec) for name, spec in fields_of(PLATES[kind]).items()}
    found = {}
    with sheet.path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            facts = {}
            for header, cell in row.items():
                title, unit = re.fullmatch(r"(.*?)(?: \((.*)\))?", header).groups()
                if cell and title != "Kind":
                    name, spec = specs[title.lower()]
                    facts[name] = read_fact(spec, cell, Source.STAMPED, unit, "point")
            found[row[sheet.named_by]] = PLATES[kind](**facts)
    return found


def kilograms(fact) -> float:
    return fact.value.base()


def test_the_fleet_has_the_size_of_the_plan():
    assert {kind: len(plates(kind)) for kind in Kind} == {
        Kind.BATTERY: 54, Kind.TRUCK: 26, Kind.CHARGER: 24, Kind.LIFTING: 2, Kind.ROOM: 19,
    }  # fmt: skip
    assert len({truck.group.value for truck in plates(Kind.TRUCK).values()}) == 4
    roles = [person.role for person in people()]
    assert (roles.count("attendant"), roles.count("technician"), roles.count("supervisor")) == (
        6, 2, 2,
    )  # fmt: skip


@pytest.mark.parametrize("kind", list(Kind))
def test_every_sheet_can_be_stored_and_read_back(kind):
    for plate in plates(kind).values():
        assert plate_from(PLATES[kind], stored_plate(plate)) == plate


def test_designations_agree_with_the_figures_beside_them():
    for battery in plates(Kind.BATTERY).values():
        text = battery.designation.value
        volts, cells = battery.voltage.value.base(), battery.cells.value
        capacity, rate = battery.capacity.value.base(), battery.capacity_rate.value
        assert cells * 2 == volts
        if american := re.fullmatch(r"(\d+)-(\d+)-(\d+)", text):
            assert (cells, rate) == (int(american[1]), 6)
            assert capacity == int(american[2]) * (int(american[3]) - 1) / 2
        else:
            european = re.fullmatch(r"(\d+) V \d+ Pz[SV] (\d+)", text)
            assert (volts, capacity, rate) == (int(european[1]), int(european[2]), 5)


def test_weights_go_with_the_energy_stored():
    for battery in plates(Kind.BATTERY).values():
        energy = battery.voltage.value.base() * battery.capacity.value.base()
        assert 22 < energy / kilograms(battery.weight) < 35  # Wh/kg of lead-acid traction batteries


def test_every_truck_has_more_than_one_battery_that_fits_and_a_charger_for_it():
    batteries, chargers = plates(Kind.BATTERY), plates(Kind.CHARGER)
    for number, truck in plates(Kind.TRUCK).items():
        fitting = [
            battery
            for battery in batteries.values()
            if battery.voltage.value == truck.voltage.value
            and kilograms(truck.weight_min) <= kilograms(battery.weight)
            and kilograms(battery.weight) <= kilograms(truck.weight_max)
            and battery.connector.value == truck.connector.value
            and 0 <= truck.compartment_length.value.base() - battery.length.value.base() <= 13
            and 0 <= truck.compartment_width.value.base() - battery.width.value.base() <= 13
            and battery.height.value.base() < truck.compartment_height.value.base()
            and battery.cable_length.value.base() >= truck.cable_length.value.base()
        ]
        assert len(fitting) >= 2, number
        assert any(
            charger.connector.value == fitting[0].connector.value
            and fitting[0].voltage.value in charger.voltages.value
            and charger.capacity_rate.value == fitting[0].capacity_rate.value
            for charger in chargers.values()
        ), number


def test_the_twins_look_alike_and_are_300_kg_apart():
    batteries = plates(Kind.BATTERY)
    heavy, light = batteries[TROUBLES.heavy_twin], batteries[TROUBLES.light_twin]
    for name in ("voltage", "length", "width", "height", "connector", "chemistry", "cable_side"):
        assert getattr(heavy, name).value == getattr(light, name).value
    assert 280 < kilograms(heavy.weight) - kilograms(light.weight) < 320


def test_a_charger_of_another_voltage_stands_between_its_neighbours():
    by_bay = {charger.bay.value: charger for charger in plates(Kind.CHARGER).values()}
    odd, beside = by_bay[TROUBLES.charger_out_of_place], by_bay[TROUBLES.charger_beside_it]
    assert [str(charger.voltages.value[0]) for charger in (odd, beside, by_bay["A10"])] == [
        "24 V", "36 V", "36 V",
    ]  # fmt: skip


def test_plates_are_marked_in_kilograms_and_in_pounds():
    units = {truck.weight_min.value.unit for truck in plates(Kind.TRUCK).values()}
    assert units == {"kg", "lb"}
    assert {battery.weight.value.unit for battery in plates(Kind.BATTERY).values()} == {"kg", "lb"}


def test_tags_are_issued_in_the_order_of_the_sheets():
    tags = first_tags()
    assert len(tags) == 54 + 26 + 24 + 2 + 19
    assert str(tags["P20-2107"]).startswith("B-QM-00002-")  # 1 would end in a letter never issued
    in_order = [tags[name].serial for name in plates(Kind.TRUCK)]
    assert in_order == sorted(set(in_order))
    assert SHOWCASE.truck in tags
    assert {TROUBLES.dying_cell, TROUBLES.boils_dry, *TROUBLES.labels_swapped} <= set(tags)
    assert {TROUBLES.stamp_contradicts, TROUBLES.label_eaten} <= set(tags)
