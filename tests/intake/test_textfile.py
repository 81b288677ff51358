"""Text tables in whatever encoding and with whatever separator they come."""

from __future__ import annotations

import codecs

import pytest
from making_sheets import delivered, facts, problems
from tagkit.errors import WrongInput
from tagkit.intake.textfile import read_text_table

TABLE = [
    ["Seriennummer", "Spannung [V]", "Kapazität (Ah)", "Länge [mm]", "Anmerkung"],
    ["Ä-1", "48", "775", "830", "grün; schön, alt"],
    ["Ä-2", "24", "465", "797", ""],
]


def table(separator: str) -> str:
    def written(cell: str) -> str:
        return f'"{cell}"' if set(cell) & {",", ";", "\t", '"', "\n"} else cell

    return "\r\n".join(separator.join(written(cell) for cell in row) for row in TABLE)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-be-bom", "utf-32", "cp1252"]
)
def test_every_separator_in_every_encoding(separator, encoding):
    text = table(separator)
    if encoding == "utf-16-be-bom":
        data = codecs.BOM_UTF16_BE + text.encode("utf-16-be")
    else:
        data = text.encode(encoding)
    taken = delivered(data)
    assert facts(taken, "maker_serial") == ["Ä-1", "Ä-2"]
    assert facts(taken, "length") == ["830 mm", "797 mm"]
    assert taken.sheet.form.delimiter == separator
    assert not taken.rejected


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_every_kind_of_line_end(newline):
    taken = delivered(newline.join(["Serial,Voltage", "A1,24", "", "A2,48", ""]))
    assert [row.row for row in taken.rows] == [2, 4]


def test_a_quoted_cell_over_several_lines_is_one_row_as_in_a_spreadsheet():
    taken = delivered(
        'Serial,Connector,Voltage\nA1,"grey\n175 A\n\nkeyed",24\nA2,"say ""red""",x\n'
    )
    assert facts(taken, "connector") == ["grey 175 A keyed"]
    assert problems(taken) == [(3, "Voltage", "“x” is not a figure")]


def test_a_separator_declared_in_the_first_line():
    taken = delivered("sep=;\nSerial;Voltage\nA1;24 V\n")
    assert facts(taken, "voltage") == ["24 V"]
    assert taken.rows[0].row == 3


def test_decimal_commas_do_not_pass_for_separators():
    taken = delivered("Serial;Weight (kg);Length (mm)\nA1;1.111,5;830,0\nA2;842,5;797,5\n")
    assert taken.sheet.form.delimiter == ";"
    assert facts(taken, "weight") == ["1111.5 kg", "842.5 kg"]


def test_a_comma_within_an_unquoted_figure_is_noticed():
    taken = delivered("Serial,Voltage,Weight (kg)\nA1,24,1,111\nA2,24,842\n")
    assert problems(taken) == [(2, "", "the row has more cells than the header has columns")]
    assert "quotation marks" in taken.rejected[0].remedy
    assert facts(taken, "maker_serial") == ["A2"]


@pytest.mark.parametrize(
    ("text", "row"),
    [('Serial,Voltage\nA1,24\nA2,"48\nA3,24\n', 3), ('Serial,Voltage\nA1,"2"4\n', 2)],
)
def test_an_open_quotation_mark_does_not_swallow_the_rest(text, row):
    with pytest.raises(WrongInput, match="quotation mark") as caught:
        delivered(text)
    assert f"row {row}" in caught.value.where


@pytest.mark.parametrize("data", [b"\x81\x8d\x8f\x90", b"Serial\x00,Voltage\x00", b"\xff\xfe\x00"])
def test_what_is_no_text_is_refused(data):
    with pytest.raises(WrongInput, match="neither a text table nor"):
        read_text_table(data, "x.csv")


def test_an_endless_cell_is_refused():
    with pytest.raises(WrongInput, match="characters"):
        delivered("Serial,Voltage\nA1," + "9" * 40_000)
    with pytest.raises(WrongInput, match="characters"):
        delivered("Serial,Voltage\nA1," + "9" * 200_000)
