"""Reports: drawn, read back, and harmless in a spreadsheet."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path
from typing import Any

import pytest
from battery_room import BatteryRoom, ago
from reportlab.graphics.charts.lineplots import LinePlot
from reportlab.graphics.shapes import String
from reportlab.pdfbase.pdfmetrics import stringWidth
from tagkit.jobs.cell_chart import cell_chart
from tagkit.jobs.charts import PHONE_WIDTH, lines
from tagkit.jobs.history_words import trend_line
from tagkit.jobs.tables import Table, harmless, read_table, write_tables
from tagkit.language.words import Words
from tagkit.rules.trend import CellTrend

NASTY = '=HYPERLINK("http://x")'


def pages(path: Path) -> list[Any]:
    from tagkit.labels.raster import render_pages

    return list(render_pages(path, 100))


def words(path: Path) -> str:
    import pypdfium2

    book = pypdfium2.PdfDocument(path)
    return "\n".join(page.get_textpage().get_text_range() for page in book)


@pytest.fixture
def lived(room: BatteryRoom) -> BatteryRoom:
    """A battery with some history."""
    room.staff()
    room.charge("B1", began=60, ended=50)
    for days in (50, 20):
        at = ("--at", ago(days=days).isoformat())
        room.run("round", "enter", "B1", "--cells", " ".join(["1280/25"] * 24), "--charged",
                 "--rested", "9", *at)  # fmt: skip
        room.run("water", "B1", "--litres", "4", *at)
    room.run("inspect", "B1", "--finding", NASTY)
    room.run("incident", "report", "spill", "--what", "two litres on the floor", "--tag", "B1")
    return room


def test_the_history_sheet_has_two_pages_and_the_batterys_code(lived: BatteryRoom) -> None:
    from tagkit.reader.decoders import decode_all

    path = lived.folder.parent / "b1.pdf"
    found = lived.run("report", "battery", "B1", "--out", path, "--json")
    assert found.code == 0, found
    assert found.data["rounds"] == 2
    drawn = pages(path)
    assert len(drawn) == 2
    assert decode_all(drawn[0]) == [lived["B1"]]
    text = words(path)
    assert lived["B1"] in text and "two litres on the floor" in text
    assert "overrule" in text and "trained, authorised people" in text


def test_a_row_taller_than_a_page_goes_on_overleaf(room: BatteryRoom) -> None:
    from tagkit.jobs.paper import Paper

    path = room.folder.parent / "tall.pdf"
    long = " ".join(f"word{number}" for number in range(1, 1_501))
    with room.open() as site:
        paper = Paper(site, Words("en", "metric", site.timezone()), "Tall")
        paper.table(
            ("what", "by"), [("before", "SW"), (long, "SW"), ("X" * 20_000, "SW")], (80, 20)
        )
        assert paper.save(path) >= 4
    told = words(path)
    assert [f"word{n}" for n in range(1, 1_501) if f"word{n}" not in told] == []
    assert told.count("X") == 20_000
    assert told.split().index("word1") < told.split().index("word1500")


def test_one_round_that_does_not_compare_still_shows_its_lowest_cells(room: BatteryRoom) -> None:
    room.charge("B1")
    cells = " ".join("1195/25" if cell == 12 else f"{1280 + cell % 3}/25" for cell in range(1, 25))
    assert room.run("round", "enter", "B1", "--cells", cells, "--rested", "1").code == 0
    path = room.folder.parent / "b1.pdf"
    assert room.run("report", "battery", "B1", "--out", path).code == 0
    text = words(path)
    assert "cell 12 cell 3 cell 6" in text.split("Cells that lie lowest")[1]
    with room.open() as site:
        drawn = cell_chart(site, room["B1"], Words("en", "metric", site.timezone()))
    (day,) = set(re.findall(r"\d+ \w+ 20\d\d", drawn))
    assert drawn.count(day) == 1 and "cell 12" in drawn


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_chart_for_a_phone_names_its_series_in_rows_that_end_within_it(language: str) -> None:
    words = Words(language, "metric", None)
    points = [(ago(days=200), 1.27), (ago(days=1), 1.28)]
    names = [words("cell {number}", number=number) for number in range(10, 15)]
    title = words("Gravity at the reference temperature")
    drawing = lines(words, PHONE_WIDTH, 58, title, [(name, points) for name in names])
    said = [one for one in drawing.contents if isinstance(one, String)]
    assert {one.text for one in said} == {title, *names}
    for one in said:
        assert one.x + stringWidth(one.text, one.fontName, one.fontSize) <= drawing.width
    assert len({one.y for one in said}) >= 3  # the title, and more than one row of names
    plot = next(one for one in drawing.contents if isinstance(one, LinePlot))
    assert plot.y + plot.height < min(one.y for one in said)


def test_a_cell_that_falls_too_slowly_to_matter_gets_no_date() -> None:
    trend = CellTrend(6, 12, -0.004, -0.0002, -0.0003, -0.0001, falling=True)
    said = trend_line(trend, 0.050, Words("en", "metric", None))
    assert said == (
        "cell 6: -0.0002 a month over 12 rounds; at this pace it stays within the limit of 0.050 for "
        "ten years"
    )


def test_a_battery_without_history_has_its_sheet_too(room: BatteryRoom) -> None:
    path = room.folder.parent / "b2.pdf"
    assert room.run("report", "battery", "B2", "--out", path).code == 0
    text = words(path)
    assert len(pages(path)) == 1
    assert "No rounds yet" in text and f"tagkit round blank {room['B2']}" in text
    assert "No watering with its amount" in text and "No use with a known depth" in text


@pytest.mark.parametrize("suffix", ["csv", "xlsx", "json"])
@pytest.mark.parametrize("report", [("battery", "B1"), ("month", f"{ago():%Y-%m}"), ("people",)])
def test_every_report_is_a_table_too(
    lived: BatteryRoom, report: tuple[str, ...], suffix: str
) -> None:
    path = lived.folder.parent / f"report.{suffix}"
    assert lived.run("report", *report, "--out", path).code == 0
    if suffix == "json":
        assert json.loads(path.read_text(encoding="utf-8"))["tables"]
        return
    cells = [cell for _, row in read_table(path) for cell in row]
    assert cells
    assert not any(cell.startswith(("=", "+", "@")) for cell in cells)
    assert lived.run("report", *report, "--out", path).code == 2
    assert lived.run("report", *report, "--out", path, "--force").code == 0


def test_the_month_counts_what_was_done(lived: BatteryRoom) -> None:
    path = lived.folder.parent / "month.pdf"
    found = lived.run("report", "month", f"{ago():%Y-%m}", "--out", path, "--json")
    assert found.code == 0, found
    assert found.data["done"]["incidents"] == 1
    assert [one["sort"] for one in found.data["incidents"]] == ["spill"]
    assert "two litres on the floor" in words(path)
    assert lived.run("report", "month", "2031-13", "--out", path, "--force").code == 2
    assert lived.run("report", "month", "2190-01", "--out", path, "--force").code == 2


def test_the_people_report_says_who_has_run_out(lived: BatteryRoom) -> None:
    lived.run("authorise", "KM", "--role", "attendant", "--until", "2020-01-01", "--by", "SW")
    path = lived.folder.parent / "people.pdf"
    found = lived.run("report", "people", "--out", path, "--json").data["people"]
    assert (found[0]["person"], found[0]["state"]) == ("KM", "run out")
    assert "RUN OUT" in words(path)


def test_a_report_needs_a_form_that_is_known(room: BatteryRoom) -> None:
    found = room.run("report", "people", "--out", room.folder.parent / "people.doc")
    assert found.code == 2 and ".pdf" in found.err


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_no_cell_is_a_formula(start: str, tmp_path: Path) -> None:
    text = f"{start}1+1"
    assert harmless(text) == f"'{text}" and harmless(-5.0) == -5.0 and harmless("a=b") == "a=b"
    table = Table(text, (text, "n"), ((text, -5.0), (None, True)))
    write_tables(tmp_path / "t.csv", [table], {})
    rows = list(csv.reader(io.StringIO((tmp_path / "t.csv").read_text("utf-8-sig"), newline="")))
    assert rows[1][1] == "-5.0" and rows[2] == ["", "yes"]
    if start not in "\t\r":
        assert rows[0][0] == rows[1][0] == f"'{text}"
        write_tables(tmp_path / "t.xlsx", [table], {})
        from openpyxl import load_workbook

        sheet = load_workbook(tmp_path / "t.xlsx").worksheets[0]
        assert sheet["A2"].value == f"'{text}" and sheet["A2"].data_type == "s"
        assert sheet["B2"].value == -5


@pytest.mark.parametrize("data", [b"", b"\x00\x01", b"  \n"])
def test_a_file_that_is_no_table_is_told(tmp_path: Path, data: bytes) -> None:
    from tagkit.errors import WrongInput

    path = tmp_path / "x.csv"
    path.write_bytes(data)
    with pytest.raises(WrongInput):
        read_table(path)


def test_charts_serve_pages_as_pictures_too() -> None:
    from tagkit.jobs.charts import bars, svg_of

    words = Words("es", "metric", None)
    points = [(ago(days=2), 1.0), (ago(days=1), 2.0)]
    drawn = lines(words, 100, 50, "one", [(name, points) for name in "abcdef"])
    dark, _, chart = svg_of(drawn).partition("</style>")
    colours = set(re.findall(r"(?:fill|stroke): ?(#\w+|rgb[^;]*);", chart))
    assert len(colours) == 8
    for colour in colours:
        assert colour in dark, "it stays dark on a dark page"
    assert words("nothing on record") in svg_of(bars(words, 100, 50, "none", [], []))
