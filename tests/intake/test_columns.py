"""Headers in plain words: English, German, Spanish, with units and rates."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.assets.fields import fields_of
from tagkit.assets.kinds import PLATES
from tagkit.assets.tag import Kind
from tagkit.errors import TagkitError, WrongInput
from tagkit.intake.columns import column_letter, match_columns, read_header
from tagkit.intake.meanings import CAPACITIES, DIMENSIONS, KIND, PASSED_OVER, WINDOW

B, T, C, L, R = Kind.BATTERY, Kind.TRUCK, Kind.CHARGER, Kind.LIFTING, Kind.ROOM


@pytest.mark.parametrize(
    ("header", "kind", "field", "unit"),
    [
        ("Serial No.", B, "maker_serial", None),
        ("S/N", B, "maker_serial", None),
        ("Maker's serial", C, "maker_serial", None),
        ("Seriennummer", B, "maker_serial", None),
        ("Serien-Nr.", B, "maker_serial", None),
        ("Fabriknummer", T, "maker_serial", None),
        ("Número de serie", B, "maker_serial", None),
        ("N.º de serie", B, "maker_serial", None),
        ("Battery no.", B, "fleet_number", None),
        ("Fleet number", T, "fleet_number", None),
        ("Staplernummer", T, "fleet_number", None),
        ("Bay", C, "bay", None),
        ("Designation", B, "designation", None),
        ("Equalizing allowed", B, "equalizing", None),
        ("Maker permits equalisation", B, "equalizing", None),
        ("Ausgleichsladung zulässig", B, "equalizing", None),
        ("Igualación permitida por el fabricante", B, "equalizing", None),
        ("Bezeichnung", B, "designation", None),
        ("Denominación", B, "designation", None),
        ("Voltage", B, "voltage", None),
        ("VOLTAGE (V)", T, "voltage", "V"),
        ("Nominal voltage, V", B, "voltage", "V"),
        ("Nennspannung [V]", B, "voltage", "V"),
        ("Tensión nominal (V)", B, "voltage", "V"),
        ("Output voltage V", C, "voltages", "V"),
        ("Ausgangsspannung", C, "voltages", None),
        ("No. of cells", B, "cells", None),
        ("Zellenzahl", B, "cells", None),
        ("Capacity (Ah)", B, "capacity", "Ah"),
        ("Nennkapazität [Ah]", B, "capacity", "Ah"),
        ("Capacidad", B, "capacity", None),
        ("Capacity (lb)", T, "rated_load", "lb"),
        ("Weight (lb)", B, "weight", "lb"),
        ("Weight_kg", B, "weight", "kg"),
        ("Weight in kg", B, "weight", "kg"),
        ("Service weight, kg", B, "weight", "kg"),
        ("Gewicht [kg]", B, "weight", "kg"),
        ("Gewicht mit Säure (kg)", B, "weight", "kg"),
        ("Peso (kg)", B, "weight", "kg"),
        ("Battery weight", B, "weight", None),
        ("Battery weight (kg)", T, WINDOW, "kg"),
        ("Min. battery weight (lb)", T, "weight_min", "lb"),
        ("Battery weight, minimum [kg]", T, "weight_min", "kg"),
        ("Mindestgewicht der Batterie", T, "weight_min", None),
        ("Peso mínimo de la batería (kg)", T, "weight_min", "kg"),
        ("Battery weight max kg", T, "weight_max", "kg"),
        ("Höchstgewicht Batterie", T, "weight_max", None),
        ("Length in", B, "length", "in"),
        ("Länge (mm)", B, "length", "mm"),
        ("Ancho (mm)", B, "width", "mm"),
        ("Höhe mm", B, "height", "mm"),
        ("L x W x H (mm)", B, DIMENSIONS, "mm"),
        ("Maße L×B×H [mm]", B, DIMENSIONS, "mm"),
        ("Chemie", B, "chemistry", None),
        ("Allowed chemistries", T, "chemistries", None),
        ("Stecker", B, "connector", None),
        ("Kabellänge (mm)", B, "cable_length", "mm"),
        ("Baujahr", B, "made_on", None),
        ("Year of manufacture", B, "made_on", None),
        ("In service since", B, "in_service_on", None),
        ("Full gravity (kg/l)", B, "full_gravity", "kg/l"),
        ("Capacity range (Ah)", C, CAPACITIES, "Ah"),
        ("Rated load (kg)", L, "rated_load", "kg"),
        ("Next inspection", L, "inspection_due", None),
        ("Days between checks", R, "check_every", None),
        ("Type of asset", B, KIND, None),
        ("Asset type", T, KIND, None),
        ("Pos.", B, PASSED_OVER, None),
        ("#", B, PASSED_OVER, None),
        ("problem", B, PASSED_OVER, None),
    ],
)
def test_a_header_states(header, kind, field, unit):
    column = read_header(header)
    assert column.meanings.get(kind) == field
    assert column.unit == unit


@pytest.mark.parametrize(
    ("header", "rate"),
    [("Capacity C5 [Ah]", 5), ("Kapazität K5 (Ah)", 5), ("Capacity (Ah, 6 h)", 6),
     ("Capacity Ah @ 6h", 6), ("Capacity (Ah at 5-hour rate)", 5), ("Capacity (Ah)", None)],
)  # fmt: skip
def test_a_capacity_is_headed_with_its_rate(header, rate):
    column = read_header(header)
    assert (column.meanings.get(B), column.rate) == ("capacity", rate)


@pytest.mark.parametrize(
    "header",
    ["Dry weight (kg)", "Weight without acid", "Gewicht ohne Säure", "Peso sin ácido",
     "Gross weight", "Shipping weight kg", "Price", "Delivery date", "Remarks", "", "Colour",
     "weight " * 40],
)  # fmt: skip
def test_what_is_no_field_is_not_taken_for_one(header):
    assert not read_header(header).known


@pytest.mark.parametrize("kind", list(Kind))
def test_every_field_can_be_headed_by_its_name_and_by_its_words(kind):
    for name, spec in fields_of(PLATES[kind]).items():
        for header in (name, spec.label, spec.label.upper()):
            assert read_header(header).meanings.get(kind) == name, header


def test_two_columns_that_state_the_same_are_both_named():
    with pytest.raises(WrongInput, match=r"“Weight \(kg\)” \(B\) and “Service weight” \(C\)"):
        match_columns(["Serial", "Weight (kg)", "Service weight"])


def test_unknown_columns_are_reported():
    found = match_columns(["Serial", "Price", "Voltage", ""])
    assert [column.header for column in found.ignored] == ["Price"]


@pytest.mark.parametrize(
    ("header", "says"),
    [("Weight (V)", "does not go with"), ("Voltage (kg)", "does not go with"),
     ("Weight (tons)", "short tons or tonnes")],
)  # fmt: skip
def test_a_unit_that_can_not_be_meant(header, says):
    with pytest.raises(WrongInput, match=says) as caught:
        match_columns(["Serial", header])
    assert "column B" in caught.value.where


@pytest.mark.parametrize(
    ("cells", "field"),
    [
        (["battery", "truck", "battery"], KIND),
        (["24 V 5 PzS 775", "18-125-17"], "designation"),
        (["gel", "AGM"], "chemistry"),
        (["whatever", "else"], None),
    ],
)
def test_what_a_column_headed_type_means_is_seen_from_its_cells(cells, field):
    found = match_columns(["Serial", "Type"], [["A1", cell] for cell in cells])
    assert found.all[1].meanings.get(B) == field


@pytest.mark.parametrize(
    ("headers", "kinds"),
    [
        (["Fleet number", "Voltage", "Min battery weight", "Max battery weight"], {T}),
        (["Bay", "Output voltage"], {C}),
        (["Serial", "Designation", "Weight"], {B}),
        (["Serial", "Designation", "Truck no."], {B}),
        (["Serial", "Voltage"], set()),
        (["Serial", "Rated load", "Inspection due"], {L}),
    ],
)
def test_columns_tell_what_the_rows_are(headers, kinds):
    assert match_columns(headers).kinds == kinds


def test_letters_as_a_spreadsheet_shows_them():
    assert [column_letter(n) for n in (0, 25, 26, 701, 702)] == ["A", "Z", "AA", "ZZ", "AAA"]


@given(st.lists(st.text(max_size=30), max_size=8))
def test_any_headers_are_columns_or_an_error_with_a_remedy(headers):
    try:
        assert len(match_columns(headers, [headers]).all) == len(headers)
    except TagkitError as error:
        assert error.remedy
