"""XLSX workbooks as suppliers make them, and files that are none."""

from __future__ import annotations

import datetime as dt
import io
import zipfile

import pytest
from making_sheets import delivered, facts, problems, saved, workbook_of, xlsx
from tagkit.errors import NotFound, TagkitError, WrongInput
from tagkit.intake import limits
from tagkit.intake.sheet import read_sheet, sheet_from_bytes

HEADER = ["Serial no.", "Voltage (V)", "Weight (kg)"]
NAME = "delivery.xlsx"


def test_numbers_are_numbers_and_never_ambiguous():
    taken = delivered(xlsx([HEADER, ["A1", 48, 1111], ["A2", 48.0, 1.111e3], ["A3", 48, 842.125]]))
    assert facts(taken, "weight") == ["1111 kg", "1111 kg", "842.125 kg"]
    assert not taken.rejected


def test_binary_noise_behind_the_fifteenth_digit_is_not_shown():
    taken = delivered(xlsx([HEADER, ["A1", 48, 1111.1 + 0.2]]))
    assert facts(taken, "weight") == ["1111.3 kg"]


def test_a_unit_in_the_number_format_counts():
    rows = [["Serial no.", "Voltage (V)", "Weight"], ["A1", 48, 1111], ["A2", 48, 2450]]
    formats = {"C2": '#,##0 "kg"', "C3": '#,##0.0\\ "lb"'}
    taken = delivered(xlsx(rows, formats=formats))
    assert facts(taken, "weight") == ["1111 kg", "2450 lb"]


def test_texts_that_look_like_numbers_are_read_like_any_text():
    taken = delivered(xlsx([HEADER, ["A1", "48 V", "1111"], ["A2", "48", "1,111"]]))
    assert facts(taken, "weight") == ["1111 kg"]
    assert problems(taken) == [(3, "Weight (kg)", "“1,111” can be read as 1111 or as 1.111")]


def test_serials_stored_as_numbers_keep_their_digits():
    rows = [HEADER, [417, 48, 1111], [417, 24, 842], [123456789012, 24, 842]]
    taken = delivered(xlsx(rows, formats={"A3": "00000"}))
    assert facts(taken, "maker_serial") == ["417", "00417", "123456789012"]


@pytest.mark.parametrize("serial", [1234567890123456789, "1.23457E+12", "1,23457E+12"])
def test_a_serial_that_the_spreadsheet_rounded_is_noticed(serial):
    taken = delivered(xlsx([HEADER, [serial, 48, 1111]]))
    assert len(taken.rejected) == 1
    assert "rounded by a spreadsheet" in taken.rejected[0].problem


def test_dates_and_yes_and_no():
    rows = [
        ["Serial", "Voltage", "Made on", "In service on"],
        ["A1", 24, dt.date(2024, 3, 17), dt.datetime(2024, 5, 2, 13, 30)],  # noqa: DTZ001,
    ]
    taken = delivered(xlsx(rows))
    assert facts(taken, "made_on") == ["2024-03-17"]
    assert facts(taken, "in_service_on") == ["2024-05-02"]
    beam = [["Kind", "Serial", "Kind of gear", "Insulated"], ["beam", "L1", "beam", True]]
    assert facts(delivered(xlsx(beam)), "insulated") == ["True"]


def with_formula(value: str | None) -> bytes:
    """A workbook whose cell C2 holds =1000+111, saved with ``value`` or without any."""
    data = xlsx([HEADER, ["A1", 48, "=1000+111"], ["A2", 48, 842]])
    stored = "" if value is None else f"<v>{value}</v>"
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for part in old.infolist():
            content = old.read(part)
            if part.filename.endswith("sheet1.xml"):
                assert b"<f>1000+111</f>" in content
                for empty in (b"<v />", b"<v></v>", b"<v/>"):
                    content = content.replace(b"<f>1000+111</f>" + empty, b"<f>1000+111</f>")
                content = content.replace(
                    b"<f>1000+111</f>", b"<f>1000+111</f>" + stored.encode("ascii")
                )
            new.writestr(part, content)
    return out.getvalue()


def test_a_formula_counts_by_its_saved_value():
    assert facts(delivered(with_formula("1111"), NAME), "weight") == ["1111 kg", "842 kg"]


def test_a_formula_without_a_saved_value_is_a_problem_not_an_empty_cell():
    taken = delivered(with_formula(None), NAME)
    assert problems(taken) == [
        (2, "Weight (kg)", "cell C2: the formula was saved without its value")
    ]
    assert "calculate" in taken.rejected[0].remedy
    (warning,) = [one for one in taken.warnings if "formulas" in one]
    assert "saved in C2: open the file" in warning


def test_the_error_of_a_formula_is_a_problem():
    taken = delivered(xlsx([HEADER, ["A1", 48, "#REF!"], ["#N/A", 48, 1]]))
    assert "error of a formula" in taken.rejected[0].problem


def test_a_cell_merged_over_rows_holds_for_each_of_them():
    rows = [HEADER, ["A1", 48, 1111], ["A2", None, 1112], ["A3", None, 1113], ["A4", 24, 842]]
    taken = delivered(xlsx(rows, merged=["B2:B4"]))
    assert facts(taken, "voltage") == ["48 V", "48 V", "48 V", "24 V"]


def test_titles_above_the_header_and_the_spreadsheets_row_numbers():
    rows = [["Delivery note 26-4471"], [], ["Batteries for the depot", None, None, None], HEADER,
            ["A1", 48, 1111], [None, None, None], ["A2", 48, "heavy"]]  # fmt: skip
    taken = delivered(xlsx(rows, merged=["A1:C1"]))
    assert [row.row for row in taken.rows] == [5]
    assert problems(taken)[0][0] == 7


def test_hidden_rows_count():
    book = workbook_of([HEADER, ["A1", 48, 1111], ["A2", 48, 1112]])
    book.active.row_dimensions[3].hidden = True
    assert facts(delivered(saved(book)), "maker_serial") == ["A1", "A2"]


def test_the_worksheet_with_a_header_is_found_and_the_others_are_named():
    book = workbook_of([["Terms"], ["Paid within 30 days"]], title="Terms")
    sheet = book.create_sheet("Batteries")
    for row in [HEADER, ["A1", 48, 1111]]:
        sheet.append(row)
    taken = delivered(saved(book))
    assert taken.sheet.worksheet == "Batteries"
    assert any("Terms" in warning for warning in taken.warnings)


def test_two_worksheets_that_could_be_meant_are_asked_about():
    book = workbook_of([HEADER, ["A1", 48, 1111]], title="North")
    for row in [HEADER, ["A2", 48, 1111]]:
        (book["South"] if "South" in book.sheetnames else book.create_sheet("South")).append(row)
    with pytest.raises(WrongInput, match="“North”, “South”"):
        sheet_from_bytes(saved(book), NAME)
    assert sheet_from_bytes(saved(book), NAME, "south").worksheet == "South"
    with pytest.raises(WrongInput, match="no worksheet “West”") as caught:
        sheet_from_bytes(saved(book), NAME, "West")
    assert "South" in caught.value.remedy


def test_a_hidden_worksheet_does_not_compete():
    book = workbook_of([HEADER, ["A1", 48, 1111]])
    hidden = book.create_sheet("Last year")
    for row in [HEADER, ["OLD", 48, 1]]:
        hidden.append(row)
    hidden.sheet_state = "hidden"
    assert facts(delivered(saved(book)), "maker_serial") == ["A1"]


def zipped(parts: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()


COMPOUND = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 500


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "the file is empty"),
        (b"\xef\xbb\xbf \r\n\r\n", "the file is empty"),
        (COMPOUND + "EncryptedPackage".encode("utf-16-le"), "password"),
        (COMPOUND + "Workbook".encode("utf-16-le"), "old workbook"),
        (b"%PDF-1.7 ...", "PDF"),
        (b"<html><table><tr><td>Serial</td></tr></table></html>", "web page or XML"),
        (b"PK\x03\x04 and nothing more", "damaged"),
        (zipped({"hello.txt": b"hello"}), "no workbook"),
        (zipped({"mimetype": b"application/vnd.oasis.opendocument.spreadsheet"}), "OpenDocument"),
        (zipped({"[Content_Types].xml": b"", "xl/workbook.bin": b""}), "xlsb"),
        (zipped({"[Content_Types].xml": b"<x/>", "xl/workbook.xml": b"<x>"}), "damaged"),
        (b"just some words\nand more of them\n", "no row of column headers"),
        (b"Serial,Voltage\n" * 2 + b"x" * limits.FILE_BYTES, "larger than 20 MB"),
    ],
)
def test_what_is_no_delivery_sheet_says_what_to_do(data, says):
    with pytest.raises(WrongInput, match=says) as caught:
        sheet_from_bytes(data, NAME)
    assert caught.value.remedy
    assert NAME in caught.value.where


def test_a_workbook_cut_off_in_the_copying():
    data = xlsx([HEADER, ["A1", 48, 1111]])
    for length in (len(data) // 3, len(data) - 30):
        with pytest.raises(WrongInput, match="damaged"):
            sheet_from_bytes(data[:length], NAME)


def test_a_workbook_with_broken_parts():
    data = xlsx([HEADER, ["A1", 48, 1111]])
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    for name in parts:
        if name in ("docProps/app.xml", "xl/theme/theme1.xml", "_rels/.rels"):
            continue  # of no use for reading a table
        broken = zipped({**parts, name: parts[name][: len(parts[name]) // 2]})
        with pytest.raises(WrongInput):
            sheet_from_bytes(broken, NAME)


def test_a_small_file_that_unpacks_to_a_huge_one_is_refused():
    bomb = zipped({"[Content_Types].xml": b"<x/>", "xl/workbook.xml": b"<x/>",
                   "xl/worksheets/sheet1.xml": b" " * (limits.UNPACKED_BYTES + 1)})  # fmt: skip
    assert len(bomb) < 1_000_000
    with pytest.raises(WrongInput, match="unpacked the file would take"):
        sheet_from_bytes(bomb, NAME)


def test_entities_that_multiply_are_not_expanded():
    data = xlsx([HEADER, ["A1", 48, 1111]])
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    entities = b"".join(
        b'<!ENTITY e%d "%s">' % (n, b"&e%d;" % (n - 1) * 10 if n else b"boom") for n in range(9)
    )
    sheet = parts["xl/worksheets/sheet1.xml"].replace(b"<?xml version='1.0'?>", b"")
    sheet = b"<!DOCTYPE w [" + entities + b"]>" + sheet.replace(b"<v>48</v>", b"<v>&e8;</v>")
    with pytest.raises(WrongInput):
        sheet_from_bytes(zipped({**parts, "xl/worksheets/sheet1.xml": sheet}), NAME)


def test_more_rows_and_columns_than_anyone_delivers():
    rows = "Serial,Voltage\n" + "A,24\n" * (limits.ROWS + 1)
    with pytest.raises(WrongInput, match="more than 20,000 rows"):
        sheet_from_bytes(rows.encode("ascii"), "x.csv")
    wide = [*HEADER, *[None] * limits.COLUMNS, "far out"]
    with pytest.raises(WrongInput, match="columns are read"):
        sheet_from_bytes(xlsx([HEADER, wide]), NAME)


def test_a_lonely_cell_far_below_is_reached_and_costs_nothing():
    book = workbook_of([HEADER, ["A1", 48, 1111]])
    book.active.cell(100_000, 1, "A2")
    taken = delivered(saved(book))
    assert [row.row for row in taken.rows] == [2, 100_000]


def test_files_that_can_not_be_opened(tmp_path):
    with pytest.raises(NotFound, match="no such file"):
        read_sheet(tmp_path / "nothing.csv")
    with pytest.raises(WrongInput, match="folder"):
        read_sheet(tmp_path)
    with pytest.raises(TagkitError):
        read_sheet("a\0b.csv")
    file = tmp_path / "delivery.csv"
    file.write_bytes(b"Serial,Voltage\nA1,24\n")
    assert read_sheet(file).name == "delivery.csv"


@pytest.mark.parametrize("above", [False, True])
def test_a_head_over_the_three_dimensions_gives_each_its_unit(above: bool) -> None:
    """“Maße (mm)”, merged over L, B and H; an H alone would be hours. ``above``: the line below
    says more than the one above."""
    heads = [["Seriennummer", "Spannung (V)", "Gewicht (kg)", "Maße (mm)", None, None],
             [None, None, None, "L", "B", "H"]]  # fmt: skip
    merged = ["A1:A2", "B1:B2", "C1:C2", "D1:F1"]
    if above:
        heads = [[None, None, None, "Maße (mm)", None, None],
                 ["Seriennummer", "Spannung (V)", "Gewicht (kg)", "L", "B", "H"]]  # fmt: skip
        merged = ["D1:F1"]
    taken = delivered(xlsx([*heads, ["A1", 48, 1111, 1035, "630,5", 784]], merged=merged))
    assert not taken.rejected
    assert [facts(taken, name) for name in ("length", "width", "height")] == [
        ["1035 mm"], ["630.5 mm"], ["784 mm"]
    ]  # fmt: skip
