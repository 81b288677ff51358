"""Deliveries as they come: what is taken, what is given back, what is said."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from making_sheets import delivered, facts, problems, xlsx
from tagkit.assets.stated import Source
from tagkit.assets.tag import Kind
from tagkit.errors import TagkitError, WrongInput
from tagkit.intake.delivery import read_delivery
from tagkit.intake.sheet import sheet_from_bytes

HEADER = "Serial no.;Designation;Voltage (V);Cells;Capacity (Ah);Weight;Chemistry\n"


def one(row: str, header: str = HEADER, **how):
    return delivered(header + row, **how)


# A sheet with every trouble at once --------------------------------------------------------------

MESSY = (
    "Lieferschein 26-4471 – Antriebsbatterien für den Kühlraum\r\n"
    "\r\n"
    "Pos.;Serien-Nr.;Bezeichnung;Nennspannung [V];Zellen;Kapazität K5 [Ah];Betriebsgewicht;"
    "Länge [mm];Chemie;Säuredichte;Preis\r\n"
    "1;Q-101;48 V 5 PzS 775;48;24;775;1.142,5 kg;830;Blei-Säure;;1.200,00\r\n"
    "2;Q-102;48 V 5 PzS 775;48;24;775;2511.5 lb;830;PzS;;\r\n"
    "3;Q-103;48 V 5 PzS 775;;;;1142,0 kg;;;;\r\n"
    "\r\n"
    "4;Q-104;48 V 5 PzS 775;48;24;775;k.A.;830;PzS;;\r\n"
    "5;Q-102;48 V 5 PzS 775;48;24;775;1.142,5 kg;830;PzS;;\r\n"
    "6;Q-106;18-125-17;36;18;1000 Ah / 6 h;1.090,0 kg;;PzS;;\r\n"
    "7;Q-107;48 V 5 PzS 775;24;24;775;1.142,5 kg;830;PzS;;\r\n"
    "8;;48 V 5 PzS 775;48;24;775;1.142,5 kg;830;PzS;;\r\n"
    "9;Q-109;48 V 5 PzS 775;48;24;775;11.425 lb;830;PzS;;\r\n"
    "10;OLD-1;48 V 5 PzS 775;48;24;775;1.142,5 kg;830;PzS;;\r\n"
    "11;Q-111;48 V 5 PzS 775;48;24;775;schwer;830;Suppe;;\r\n"
    ";;;;;;9.999,0 kg;;;;\r\n"
    "Summe;;;;;;9.999,0 kg;;;;\r\n"
    "Alle Gewichte mit Säure, ± 2 %\r\n"
)


@pytest.fixture(scope="module")
def messy():
    known = {"OLD-1": "B-QM-00012-7"}
    sheet = sheet_from_bytes(MESSY.encode("cp1252"), "lieferung.csv")
    return read_delivery(sheet, known_serials=lambda _kind, serial: known.get(serial))


def test_good_rows_are_taken_in_unloading_order_with_the_spreadsheets_numbers(messy):
    assert [(row.row, row.kind) for row in messy.rows] == [
        (n, Kind.BATTERY) for n in (4, 5, 6, 8, 10)
    ]
    assert facts(messy, "maker_serial") == ["Q-101", "Q-102", "Q-103", "Q-104", "Q-106"]


def test_weights_in_both_styles_and_units(messy):
    assert facts(messy, "weight") == ["1142.5 kg", "2511.5 lb", "1142.0 kg", None, "1090.0 kg"]


def test_what_is_missing_is_unknown_and_said(messy):
    warnings = {row.row: " / ".join(row.warnings) for row in messy.rows}
    assert "“k.A.” is taken as unknown" in warnings[8]
    assert "missing" not in warnings[8]
    for said in ("voltage: 48 V", "cells: 24", "capacity: 775 Ah at 5 h", "vented lead-acid"):
        assert said in warnings[6]
    assert "from the designation “48 V 5 PzS 775”" in warnings[6]


def test_every_bad_row_says_where_what_and_what_to_do(messy):
    found = {(entry.row, entry.column): entry for entry in messy.rejected}
    assert set(found) == {
        (9, "Serien-Nr."), (11, "Bezeichnung"), (12, ""), (13, "Betriebsgewicht"),
        (14, "Serien-Nr."), (15, "Betriebsgewicht"), (15, "Chemie"),
    }  # fmt: skip
    assert "11425 or as 11.425" in found[13, "Betriebsgewicht"].problem
    assert "row 5 has the same maker's serial “Q-102”" in found[9, "Serien-Nr."].problem
    assert "says 48 V, the voltage is given as 24 V" in " ".join(
        entry.problem for entry in messy.rejected if entry.row == 11
    )
    assert found[12, ""].problem == "nothing tells which battery this is"
    assert found[14, "Serien-Nr."].problem.endswith("in the record already, as B-QM-00012-7")
    assert found[15, "Chemie"].value == "Suppe"
    assert all(entry.problem and entry.remedy for entry in messy.rejected)


def test_blank_lines_totals_and_remarks_are_passed_over(messy):
    assert dict(messy.ignored) == {
        16: "a sum of weights",
        17: "a line of totals (Summe)",
        18: "a remark: “Alle Gewichte mit Säure, ± 2 %”",
    }


def test_unknown_columns_and_a_mixed_style_are_said_about_the_sheet(messy):
    said = " / ".join(messy.warnings)
    assert "columns not read: “Säuredichte”, “Preis”" in said
    assert "decimal point (G5 “2511.5 lb”)" in said
    assert "decimal comma (G4 “1.142,5 kg”)" in said


@pytest.mark.parametrize(
    "header", ["Qty", "Anzahl", "Menge", "Cantidad", "Quantity (pcs)", "Stück"]
)
def test_a_row_for_several_batteries_says_that_it_makes_one(header):
    found = delivered(
        f"Serial;{header};Weight (kg)\nA1;1;1100\nA2;3;1100\nA3;2,00;1100\nA4;;1100\n"
    )
    said = [[text for text in row.warnings if "quantity" in text] for row in found.rows]
    each = "one battery is taken: give each its own row"
    assert said == [[], [f"quantity 3, {each}"], [f"quantity 2, {each}"], []]
    assert not any("columns not read" in text for text in found.warnings)


# The decimal mark --------------------------------------------------------------------------------


def test_the_sheets_unambiguous_cells_settle_the_others():
    text = "Serial;Weight (kg);Length (mm)\nA1;1.111;830,5\nA2;842;797\n"
    assert facts(delivered(text), "weight") == ["1111 kg", "842 kg"]
    text = 'Serial,Weight (kg),Length (mm)\nA1,"1,111",830.5\n'
    assert facts(delivered(text), "weight") == ["1111 kg"]


def test_semicolons_alone_prove_nothing():
    taken = delivered("Serial;Weight (kg)\nA1;1.111\n")
    assert problems(taken) == [(2, "Weight (kg)", "“1.111” can be read as 1111 or as 1.111")]
    assert any("semicolons" in warning for warning in taken.warnings)
    clear = delivered("Serial;Weight (kg)\nA1;1111\n")
    assert not any("semicolons" in warning for warning in clear.warnings)


def test_the_mark_can_be_given():
    text = "Serial;Weight (kg)\nA1;1.111\n"
    assert facts(delivered(text, decimal_mark="comma"), "weight") == ["1111 kg"]
    wrong = delivered(text, decimal_mark="point")
    assert "not possible" in wrong.rejected[0].problem


def test_cells_in_conflict_are_asked_about_and_nothing_is_guessed():
    text = "Serial;Weight (kg)\nA1;1111,5\nA2;1111.5\nA3;1.111\n"
    taken = delivered(text)
    assert facts(taken, "weight") == ["1111.5 kg", "1111.5 kg"]
    assert [entry.row for entry in taken.rejected] == [4]
    assert any("B2" in warning and "B3" in warning for warning in taken.warnings)


# Figures in cells --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "capacity", "rate"),
    [("775 Ah / 5 h", "775 Ah", "5"), ("775 Ah C5", "775 Ah", "5"),
     ("1000 Ah (6 h rate)", "1000 Ah", "6"), ("775", "775 Ah", None)],
)  # fmt: skip
def test_a_capacity_brings_its_rate(written, capacity, rate):
    taken = one(f"A1;{written}", "Serial;Capacity (Ah)\n")
    assert (facts(taken, "capacity"), facts(taken, "capacity_rate")) == ([capacity], [rate])


def test_the_rate_stated_twice_must_agree():
    taken = one("A1;775 Ah / 5 h;6", "Serial;Capacity;Rate (h)\n")
    assert "one cell says 5 h, another 6 h" in taken.rejected[0].problem


def test_the_cell_knows_better_than_the_header_and_it_is_said():
    taken = one("A1;1000 Ah (6 h);2450 lb", "Serial;Capacity C5;Weight (kg)\n")
    assert facts(taken, "capacity_rate") == ["6"]
    assert facts(taken, "weight") == ["2450 lb"]
    assert any("headed at 5 h" in warning for warning in taken.rows[0].warnings)
    assert any("headed in kg" in warning for warning in taken.rows[0].warnings)


def test_a_weight_without_any_unit_is_asked_about():
    taken = one("A1;1111", "Serial;Weight\n")
    assert "1111 kg or as 1111 lb" in taken.rejected[0].problem


def test_three_dimensions_in_one_column():
    taken = one("A1;830 x 627 x 784", "Serial;L x W x H (mm)\n")
    assert [facts(taken, n)[0] for n in ("length", "width", "height")] == [
        "830 mm", "627 mm", "784 mm"]  # fmt: skip
    swapped = one("A1;627 x 830 x 784", "Serial;W x L x H (mm)\n")
    assert facts(swapped, "length") == ["830 mm"]
    assert any(
        "length × width × height" in warning
        for warning in one("A1;830 x 627 x 784", "Serial;Dimensions (mm)\n").rows[0].warnings
    )


# Designations ------------------------------------------------------------------------------------


def test_the_designation_fills_in_what_is_missing_with_the_sheets_own_source():
    taken = one("A1;24 V 3 PzV 330;;;;400 kg;")
    plate = taken.rows[0].plate
    assert (str(plate.voltage), str(plate.cells), str(plate.capacity), str(plate.chemistry)) == (
        "24 V (catalogue)", "12 (catalogue)", "330 Ah (catalogue)", "gel (catalogue)")  # fmt: skip
    assert sum("from the designation" in warning for warning in taken.rows[0].warnings) == 4


def test_lead_acid_in_plain_words_does_not_contradict_gel():
    assert facts(one("A1;24 V 3 PzV 330;24;12;330;400 kg;lead-acid"), "chemistry") == ["gel"]
    assert one("A1;24 V 3 PzV 330;24;12;330;400 kg;flooded").rejected


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("A1;18-125-17;48;;;1000 kg;", "says 36 V, the voltage is given as 48 V"),
        ("A1;18-125-17;36;24;;1000 kg;", "says 18 cells, 24 cells are given"),
        ("A1;18-125-17;36;18;850 Ah / 6 h;1000 kg;", "given as 850 Ah at 6 h"),
        ("A1;;48;18;775;1000 kg;vented", "18 lead-acid cells give 36 V"),
    ],
)
def test_figures_that_disagree_are_reported_at_intake(row, says):
    taken = one(row)
    assert not taken.rows
    assert says in " ".join(entry.problem for entry in taken.rejected)


def test_capacities_at_different_rates_are_not_compared():
    assert not one("A1;18-125-17;36;18;950 Ah / 5 h;1000 kg;").rejected


# Kinds -------------------------------------------------------------------------------------------

TRUCKS = "Fleet no.;Voltage;Battery weight (kg);Allowed chemistries\n"


@pytest.mark.parametrize(
    ("window", "ends"),
    [("1100-1300 kg", ("1100 kg", "1300 kg")), ("1100 to 1300", ("1100 kg", "1300 kg")),
     ("2425 – 2866 lb", ("2425 lb", "2866 lb"))],
)  # fmt: skip
def test_a_trucks_weight_window_in_one_cell(window, ends):
    taken = one(f"T1;48 V;{window};vented", TRUCKS, kind=Kind.TRUCK)
    assert (facts(taken, "weight_min")[0], facts(taken, "weight_max")[0]) == ends


def test_one_weight_is_no_window_and_a_window_upside_down_is_none():
    assert "one weight" in one("T1;48 V;1100;gel", TRUCKS, kind=Kind.TRUCK).rejected[0].problem
    turned = one("T1;48 V;1300-1100;gel", TRUCKS, kind=Kind.TRUCK)
    assert "is above the" in turned.rejected[0].problem


def test_a_truck_without_a_serial_is_taken_by_its_fleet_number():
    taken = one("T1;48 V;1100-1300;vented", TRUCKS, kind=Kind.TRUCK)
    assert "no column states the truck's maker's serial: unknown" in taken.warnings
    assert facts(taken, "fleet_number") == ["T1"]


def test_one_sheet_may_mix_kinds():
    taken = delivered(
        "Kind,Serial,Fleet no.,Voltage,Weight (kg),Min battery weight (kg),"
        "Max battery weight (kg),Capacity range (Ah)\n"
        "battery,A1,,48,1111,,,\n"
        "Stapler,B1,T1,48,,1100,1300,\n"
        "cargador,C1,,48,,,,400-800\n"
        "sofa,D1,,,,,,\n"
    )
    assert [row.kind for row in taken.rows] == [Kind.BATTERY, Kind.TRUCK, Kind.CHARGER]
    assert problems(taken) == [(5, "Kind", "“sofa” is no kind of asset")]


def test_a_plain_column_yields_to_the_one_that_means_a_range():
    taken = delivered(
        "Kind,Serial,Capacity (Ah),Capacity range (Ah)\nbattery,A1,775,\ncharger,C1,,400-800\n"
        "charger,C2,600,400-800\n"
    )
    assert not taken.rejected
    assert str(taken.rows[1].plate.capacity_max.value) == "800 Ah"
    assert any("“Capacity (Ah)” is not used for a charger" in w for w in taken.rows[2].warnings)


def test_kinds_are_told_by_the_columns_that_are_filled():
    taken = delivered(
        "Serial,Voltage,Designation,Min battery weight (kg),Max battery weight (kg),Fleet no.\n"
        "A1,36,18-125-17,,,\nB1,36,,900,1100,T1\nC1,36,18-125-17,900,1100,T2\n"
    )
    assert [row.kind for row in taken.rows] == [Kind.BATTERY, Kind.TRUCK]
    assert "can't be told" in taken.rejected[0].problem
    assert "Kind" in taken.rejected[0].remedy


def test_a_battery_among_trucks_is_not_taken_for_one():
    taken = delivered(
        "Serial,Voltage,Weight (kg),Min battery weight (kg),Max battery weight (kg)\n"
        "A1,36,1000,,\nB1,36,,900,1100\n"
    )
    assert [row.kind for row in taken.rows] == [Kind.TRUCK]
    assert [entry.row for entry in taken.rejected] == [2]


def test_a_kind_given_by_the_caller_must_not_contradict_the_sheet():
    taken = delivered("Kind,Serial\ntruck,A1\n,A2\n", kind=Kind.BATTERY)
    assert [row.row for row in taken.rows] == [3]
    assert "only battery rows are read" in taken.rejected[0].problem


def test_a_battery_needs_a_serial_or_a_number_of_its_own():
    header = "Serial;Battery no.;Voltage\n"
    taken = delivered(header + ";7;48\n;;48\nA1;;48\n")
    assert facts(taken, "fleet_number") == ["7", None]
    assert [entry.row for entry in taken.rejected] == [3]
    assert "own number" in taken.rejected[0].remedy


def test_the_source_is_the_case_for_batteries_and_the_plate_for_the_rest():
    text = "Kind,Serial,Fleet no.,Voltage,Scale weight (kg)\nbattery,A1,,48,1111\ntruck,B1,T1,48,\n"
    taken = delivered(text, source=Source.STAMPED)
    battery, truck = (row.plate for row in taken.rows)
    assert battery.voltage.source is Source.STAMPED
    assert battery.weighed.source is Source.WEIGHED
    assert truck.voltage.source is Source.NAMEPLATE
    assert delivered(text).rows[0].plate.weighed.source is Source.CATALOGUE


# Rows as a whole ---------------------------------------------------------------------------------


def test_the_same_battery_twice_is_one_too_many():
    same = delivered("Serial,Voltage\nA1,48\na1 ,48\nA1,24\n")
    assert [row.row for row in same.rows] == [2]
    assert problems(same) == [
        (3, "Serial", "row 2 has the same maker's serial “a1”"),
        (4, "Serial", "row 2 has the same maker's serial “A1”, with other figures"),
    ]
    assert [warning[:5] for warning in same.rows[0].warnings] == ["row 4"]


def test_two_trucks_can_not_share_a_fleet_number():
    text = "Fleet no.,Serial,Min battery weight (kg)\nT1,A1,900\nT1,A2,900\n"
    assert "the same fleet number “T1”" in delivered(text).rejected[0].problem


def test_a_repeated_header_is_passed_over():
    taken = delivered(
        "Serial,Voltage,Weight (kg)\nA1,48,1111\nSerial,Voltage,Weight (kg)\nA2,48,1\n"
    )
    assert taken.ignored == ((3, "the header once more"),)


@pytest.mark.parametrize("word", ["Total", "TOTAL:", "Summe", "Gesamt", "Suma", "Subtotal"])
def test_totals_in_any_language(word):
    taken = delivered(f"Serial,Voltage,Weight (kg)\nA1,48,1000\nA2,48,1000\n{word},,2000\n")
    assert len(taken.rows) == 2
    assert [row for row, _ in taken.ignored] == [4]


def test_a_weight_alone_that_is_no_sum_is_given_back():
    taken = delivered("Serial,Voltage,Weight (kg)\nA1,48,1000\nA2,48,1000\n,,1500\n")
    assert [entry.row for entry in taken.rejected] == [4]


def test_two_columns_for_the_same_field_stop_the_reading():
    with pytest.raises(WrongInput, match=r"“Weight \(kg\)” \(B\) and “Gewicht \[kg\]” \(C\)"):
        delivered("Serial,Weight (kg),Gewicht [kg]\nA1,1111,1111\n")


def test_a_weight_in_two_units_has_to_be_the_same_weight():
    taken = delivered(
        "Serial,Weight (lb),Weight (kg)\nA1,2450,1111\nA2,,1111\nA3,2444,\nA4,1111,1111\n"
    )
    weights = [str(row.plate.weight.value) for row in taken.rows]
    assert weights == ["2450 lb", "1111 kg", "2444 lb"]
    (wrong,) = taken.rejected
    assert (wrong.row, wrong.column) == (5, "Weight (kg)")
    assert "1111 lb" in wrong.problem and "1111 kg" in wrong.problem


def test_pounds_headed_as_kilograms_are_wondered_at():
    taken = delivered(
        "Serial,Voltage (V),Capacity (Ah),Chemistry,Weight (lb)\n"
        "A1,48,775,vented lead-acid,1142\nA2,48,775,vented lead-acid,2518\n"
        "A3,48,775,lithium-ion,1142\n"
    )
    assert ["72 Wh/kg" in " ".join(row.warnings) for row in taken.rows] == [True, False, False]


def test_a_header_in_two_lines_is_one_header():
    taken = delivered(
        "Entrega 12;;;;;;\n"
        "N.º de serie;Tensión;;Capacidad;;Peso en servicio;\n"
        ";V;Elementos;Ah;régimen (h);kg;lb\n"
        "A1;24;12;345;5;281;619\n"
    )
    (row,) = taken.rows
    assert (row.row, taken.rejected, taken.sheet.columns.ignored) == (4, (), ())
    plate = row.plate
    assert [str(one.value) for one in (plate.voltage, plate.cells, plate.capacity, plate.weight)] == [
        "24 V", "12", "345 Ah", "281 kg",
    ]  # fmt: skip
    assert plate.capacity_rate.value == 5


def test_another_table_below_the_first_is_said_and_not_mixed_in():
    taken = delivered(
        "Serial,Voltage (V),Weight (kg),Chemistry\nA1,48,1111,gel\n\nTrucks,,,\n"
        "Fleet number,Voltage,Min battery weight (kg),Max battery weight (kg)\nT1,48,1000,1200\n"
        "Serial,Voltage (V),Weight (kg),Chemistry\nA2,48,1111,gel\n"
    )
    assert [(row.row, str(row.plate.maker_serial.value)) for row in taken.rows] == [
        (2, "A1"),
        (8, "A2"),
    ]
    assert taken.rejected == ()
    assert [row for row, _ in taken.ignored] == [4, 5, 6, 7]
    assert any("another table begins in row 5" in one for one in taken.warnings)


def test_what_is_missing_from_every_row_is_said_once():
    taken = delivered("Serial,Voltage\nA1,48\nA2,48\n")
    assert "no column states the battery's service weight: unknown" in taken.warnings
    assert not taken.rows[0].warnings
    some = delivered("Serial,Voltage,Weight (kg)\nA1,48,\nA2,48,1111\n")
    assert some.rows[0].warnings == ("service weight is missing: unknown",)


def test_a_weight_window_tells_a_truck_without_a_column_that_says_so():
    taken = delivered("Fleet number;Voltage;Battery weight\nT1;48;1100-1300 kg\n")
    assert [row.kind for row in taken.rows] == [Kind.TRUCK]


def test_a_list_of_chargers_with_bay_and_number():
    taken = delivered(
        "Ladegerät Nr.;Platz;Ausgangsspannung (V);Kapazität min (Ah);Kapazität max (Ah);Kennlinie\n"
        "LG1;A1;24/48;400;800;IUIa\n"
    )
    assert (facts(taken, "bay"), facts(taken, "characteristic")) == (["A1"], ["iui"])
    assert taken.rows[0].kind is Kind.CHARGER


def test_a_sheet_with_a_header_and_nothing_else_is_sent_back():
    with pytest.raises(WrongInput, match="nothing stands below the headers of row 1"):
        delivered("Serial,Voltage\n")


def test_notes_beside_a_worksheets_table_are_said_not_taken():
    taken = delivered(xlsx([["Serial", "Voltage"], ["A1", 48, None, "call first"]]))
    assert any("call first" in warning for warning in taken.rows[0].warnings)


# Anything at all ---------------------------------------------------------------------------------

COLUMNS = [
    "Kind", "Serial", "Fleet no.", "Designation", "Voltage (V)", "Cells", "Capacity (Ah)",
    "Rate (h)", "Weight (kg)", "Min battery weight (kg)", "Max battery weight (kg)", "Chemistry",
    "L x W x H (mm)", "Made on", "Capacity range (Ah)", "Insulated", "Full gravity",
]  # fmt: skip
cell = st.one_of(
    st.text(max_size=20),
    st.text(st.sampled_from("0123456789.,-/ xVAhkglb±½'\""), max_size=12),
    st.sampled_from(["battery", "truck", "charger", "18-125-17", "24 V 5 PzS 775", "N/A", "48",
                     "1.111", "1,111 kg", "Total", "=1+1", "'=1", "#REF!", "gel"]),
)  # fmt: skip


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.lists(cell, min_size=17, max_size=17), min_size=1, max_size=4))
def test_any_text_in_a_cell_raises_nothing_but_the_row_report(rows):
    import csv
    import io

    out = io.StringIO(newline="")
    csv.writer(out).writerows([COLUMNS, *rows])
    try:
        sheet = sheet_from_bytes(out.getvalue().encode("utf-8", "replace"), "x.csv")
    except WrongInput as error:  # control characters: no text table
        assert error.remedy
        return
    taken = read_delivery(sheet)
    accounted = {row.row for row in taken.rows} | set(taken.rejected_rows)
    accounted |= {row for row, _ in taken.ignored}
    assert accounted == {row.number for row in sheet.rows}
    assert not {row.row for row in taken.rows} & set(taken.rejected_rows)
    assert all(entry.problem and entry.remedy for entry in taken.rejected)


@settings(max_examples=150, deadline=None)
@given(
    st.binary(max_size=300)
    | st.text(st.sampled_from("Serial,;\t\n\"'Voltage(V)=48A1. "), max_size=120).map(str.encode)
    | st.binary(max_size=80).map(lambda b: b"PK\x03\x04" + b)
    | st.binary(max_size=80).map(lambda b: b"Serial,Voltage,Weight\n" + b)
)
def test_any_bytes_as_a_file_raise_nothing_but_our_errors(data):
    try:
        read_delivery(sheet_from_bytes(data, "x.csv"))
    except TagkitError as error:
        assert error.problem
        assert error.remedy


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_workbook_with_bytes_changed_raises_nothing_but_our_errors(data):
    whole = bytearray(WORKBOOK)
    for _ in range(data.draw(st.integers(1, 6))):
        whole[data.draw(st.integers(4, len(whole) - 1))] = data.draw(st.integers(0, 255))
    try:
        read_delivery(sheet_from_bytes(bytes(whole), "x.xlsx"))
    except TagkitError as error:
        assert error.remedy


WORKBOOK = xlsx([["Serial", "Voltage", "Weight (kg)"], ["A1", 48, 1111], ["A2", 48, "1112"]])


def test_a_row_called_hoist_or_beam_says_its_kind_of_gear():
    delivery = read_delivery(
        sheet_from_bytes(
            b"Kind,Serial,Rated load,Hangs from\nhoist,H1,3200 kg,\nbeam,L1,2500 kg,H1\n"
            b"lifting gear,X1,2500 kg,\n",
            "gear.csv",
        )
    )
    gears = [row.plate.gear.value if row.plate.gear else None for row in delivery.rows]
    assert gears == ["hoist", "beam", None]
    assert delivery.rows[1].plate.hung_from.value == "H1"
