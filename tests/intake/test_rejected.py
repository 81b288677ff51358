"""Bad rows given back for mending, in the same form."""

from __future__ import annotations

import csv
import io

import openpyxl
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from making_sheets import delivered, facts, problems, xlsx
from tagkit.errors import WrongInput
from tagkit.intake.delivery import read_delivery
from tagkit.intake.rejected import defused, rejected_name, write_rejected
from tagkit.intake.sheet import read_sheet, sheet_from_bytes

TABLE = (
    "Notes;;;\r\nSeriennummer;Weight (kg);Connector;Länge [mm]\r\n"
    "A1;1111;grün;830\r\nA2;schwer;=cmd|'/c calc'!A0;830\r\nA3;9;@x;-5\r\n"
)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_a_text_table_comes_back_in_its_own_form(tmp_path, encoding):
    taken = delivered(TABLE.encode(encoding))
    path = tmp_path / rejected_name(taken)
    assert write_rejected(taken, path) == 2
    text = path.read_bytes().decode(encoding)
    rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=";"))
    assert rows[0] == ["Seriennummer", "Weight (kg)", "Connector", "Länge [mm]", "problem"]
    assert [row[0] for row in rows[1:]] == ["A2", "A3"]
    assert rows[1][4].startswith("row 4, Weight (kg): “schwer” is not a figure. ")
    assert rows[2][3] == "-5"
    assert rows[1][2].startswith("'=")
    assert rows[2][2] == "'@x"


def test_the_mended_file_is_read_like_the_first(tmp_path):
    path = tmp_path / "mend.csv"
    write_rejected(delivered(TABLE), path)
    again = read_delivery(read_sheet(path))
    assert problems(again) == [
        (2, "Weight (kg)", "“schwer” is not a figure"),
        (3, "Weight (kg)", "9 kg is not possible (between 20 kg and 6000 kg)"),
        (3, "Länge [mm]", "-5 mm is not possible (between 80 mm and 3000 mm)"),
    ]
    assert not any("problem" in warning for warning in again.warnings)
    mended = path.read_text("utf-8").replace("schwer", "1112").replace(";9;", ";999;")
    path.write_text(mended.replace(";-5;", ";500;"), "utf-8")
    good = read_delivery(read_sheet(path))
    assert facts(good, "connector") == ["=cmd|'/c calc'!A0", "@x"]
    assert not good.rejected


def test_the_problem_column_does_not_pile_up(tmp_path):
    first, second = tmp_path / "a.csv", tmp_path / "b.csv"
    write_rejected(delivered(TABLE), first)
    write_rejected(read_delivery(read_sheet(first)), second)
    header = second.read_text("utf-8").splitlines()[0]
    assert header.count("problem") == 1


def test_a_workbook_comes_back_as_a_workbook(tmp_path):
    rows = [["Serial", "Weight", "Length (mm)", "Connector"], ["A1", 7.125, 830.5, "=1+1"],
            ["00417", "heavy", 830, "+49"], ["A3", 1111, 830, "ok"]]  # fmt: skip
    data = xlsx(rows, formats={"B2": '0.000 "kg"', "B4": '0 "kg"'})
    with pytest.raises(WrongInput, match=r"as \.xlsx"):
        write_rejected(delivered(data), tmp_path / "mend.csv")
    path = tmp_path / "mend.xlsx"
    taken = delivered(data)
    assert write_rejected(taken, path) == 2
    sheet = openpyxl.load_workbook(path).active
    assert sheet["B2"].value == 7.125
    assert sheet["C2"].value == 830.5
    assert sheet["A3"].value == "00417"
    assert sheet["D3"].value == "+49"
    assert all(cell.data_type != "f" for row in sheet.iter_rows() for cell in row)
    impossible = (2, "Weight", "7.125 kg is not possible (between 20 kg and 6000 kg)")
    unreadable = (3, "Weight", "“heavy” is not a figure")
    without_value = (2, "Connector", "cell D2: the formula was saved without its value")
    assert problems(taken) == [impossible, without_value, unreadable]
    assert sheet["D2"].value == "=1+1"
    assert problems(read_delivery(read_sheet(path))) == [impossible, unreadable]


def test_nothing_is_overwritten_and_nothing_half_written(tmp_path):
    path = tmp_path / "mend.csv"
    path.write_text("mine", "utf-8")
    with pytest.raises(WrongInput, match="there already"):
        write_rejected(delivered(TABLE), path)
    assert path.read_text("utf-8") == "mine"
    assert write_rejected(delivered(TABLE), path, force=True) == 2
    with pytest.raises(WrongInput, match="can't be written"):
        write_rejected(delivered(TABLE), tmp_path / "nowhere" / "mend.csv")
    assert [file.name for file in tmp_path.iterdir()] == ["mend.csv"]


@pytest.mark.parametrize("text", ["-28", "+5", "-1.111,5", "48", "A1", ""])
def test_plain_figures_are_left_alone(text):
    assert defused(text) == text


@pytest.mark.parametrize(
    "text", ["=1+1", "+cmd", "-2+3", "@sum", "\t=1", "\rx", " =1", "＝1", "'=1"]
)
def test_what_a_spreadsheet_would_run_is_written_as_text(text):
    assert defused(text) == f"'{text}"


@example("'0'=")
@settings(max_examples=150, deadline=None)
@given(st.text(st.characters(codec="utf-8", exclude_categories=["Cc"]), max_size=12)
       | st.text(st.sampled_from("='+-@\t \r\n0123456789.,A"), max_size=8))  # fmt: skip
def test_every_cell_comes_back_as_it_was(text):
    out = io.StringIO(newline="")
    csv.writer(out).writerows([["Serial", "Voltage", "Connector"], ["A1", "48", defused(text)]])
    sheet = sheet_from_bytes(out.getvalue().encode("utf-8"), "x.csv")
    assert sheet.rows[0].cell(2).text == (text if text.strip() else "")
