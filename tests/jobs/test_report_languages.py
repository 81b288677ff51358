"""Reports speak the reader's language and units, and are whole on paper."""

from __future__ import annotations

import csv
import json
import re
import sys
from html import escape
from pathlib import Path

import pytest
from battery_room import BatteryRoom, ago
from pypdfium2 import PdfDocument
from tagkit.jobs.history_sheet import report_battery
from tagkit.jobs.month_report import report_month
from tagkit.jobs.people_report import report_people
from tagkit.jobs.report_file import words_of
from tagkit.jobs.round_sheet import blank_sheet, read_filled
from tagkit.jobs.site import open_site
from tagkit.jobs.tables import read_table
from tagkit.language.words import Words

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "web"))
from english_left import english_left

NAMES = frozenset(("tagkit", "verify", "head", "room", "quillmoor", "history"))
"""Names of commands and of the room itself."""


def text_of(path: Path) -> str:
    pages = [page.get_textpage().get_text_range() for page in PdfDocument(path)]
    return "\n".join(pages)


def english_on(path: Path) -> set[str]:
    """Lines of a report with words that only English has."""
    text = text_of(path) if path.suffix == ".pdf" else path.read_text(encoding="utf-8-sig")
    found: set[str] = set()
    for line in text.splitlines():
        plain = re.sub(r"\S+:\d+:[0-9a-f]{12,}|tagkit .*", " ", line)
        found |= set(english_left(f"<p>{escape(plain)}</p>", NAMES))
    return found


@pytest.fixture(scope="module")
def lived_site(site_in_use: BatteryRoom, tmp_path_factory: pytest.TempPathFactory) -> BatteryRoom:
    """A battery with charges, rounds, water and a finding in words that are no English ones."""
    room = site_in_use.moved_to(tmp_path_factory.mktemp("lived") / "site")
    room.staff()
    room.charge("B1", began=60, ended=50)
    for days in (50, 20):
        at = ("--at", ago(days=days).isoformat())
        room.run("round", "enter", "B1", "--cells", " ".join(["1280/25"] * 24), "--charged",
                 "--rested", "9", *at)  # fmt: skip
        room.run("water", "B1", "--litres", "4", *at)
    room.run("inspect", "B1", "--finding", "tapa floja")
    room.run("incident", "report", "spill", "--what", "dos litros en el suelo", "--tag", "B1")
    return room


@pytest.fixture
def lived(lived_site: BatteryRoom, tmp_path: Path) -> BatteryRoom:
    """That site, for one test alone."""
    return lived_site.moved_to(tmp_path / "site")


@pytest.mark.parametrize(
    "report",
    [("report", "battery", "B1"), ("report", "month", f"{ago():%Y-%m}"), ("report", "people"),
     ("round", "blank", "B1"), ("plan", "ventilation"), ("plan", "retirement"),
     ("plan", "pool"), ("plan", "acid"), ("report", "leaving", "B2")],
)  # fmt: skip
@pytest.mark.parametrize("suffix", ["pdf", "csv"])
def test_a_spanish_report_is_spanish_through(
    lived: BatteryRoom, report: tuple[str, ...], suffix: str
) -> None:
    path = lived.folder.parent / f"informe.{suffix}"
    lived.run("retire", "B2", "--reason", "agotada", "--by", "SW")
    done = lived.run(*report, "--out", path, "--language", "es")
    assert done.code == 0, done.err
    assert english_on(path) == set()


def test_an_english_word_on_a_spanish_report_would_be_seen(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text("batería,ready to be watered\n", encoding="utf-8")
    assert english_on(path)


def test_a_report_speaks_the_sites_language_unless_told(lived: BatteryRoom) -> None:
    settings = lived.folder / "site.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace('language = "en"', 'language = "es"', 1), encoding="utf-8")
    path = lived.folder.parent / "people.pdf"
    lived.run("report", "people", "--out", path)
    assert "Personas autorizadas" in text_of(path)
    lived.run("report", "people", "--out", path, "--language", "en", "--force")
    assert "Authorised people" in text_of(path)
    refused = lived.run("report", "people", "--out", path, "--language", "xx", "--force")
    assert refused.code == 2 and "en, es" in refused.err


def test_json_keeps_its_english_names_in_every_language(lived: BatteryRoom) -> None:
    path = lived.folder.parent / "people.json"
    lived.run("report", "people", "--out", path, "--language", "es")
    content = json.loads(path.read_text(encoding="utf-8"))
    assert list(content["tables"]) == ["People", "Record up to"]
    assert content["tables"]["People"][0]["code"]
    assert all(re.fullmatch(r"[\w.-]+:\d+:[0-9a-f]{16}", one) for one in content["record_up_to"])


def test_a_us_site_reads_gallons_pounds_and_fahrenheit_on_letter_paper(
    lived: BatteryRoom, tmp_path: Path
) -> None:
    settings = lived.folder / "site.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace('units = "metric"', 'units = "us"', 1), encoding="utf-8")
    path = tmp_path / "b1.pdf"
    with open_site(lived.folder) as site:
        report_battery(site, lived["B1"], path)
        said = text_of(path)
        blank_sheet(site, lived["B1"], tmp_path / "blank.csv")
    assert "2.1 gal" in said and "2425 lb (1100 kg)" in said and "77 °F" in said
    width, height = PdfDocument(path)[0].get_size()
    assert (round(width), round(height)) == (612, 792)
    assert read_filled_unit(tmp_path / "blank.csv") == "°F"


def read_filled_unit(path: Path) -> str:
    text = path.read_text(encoding="utf-8-sig").replace("\n1,,,,", "\n1,1.280,77,,")
    path.write_text(text, encoding="utf-8")
    return read_filled(path).temperature_unit


@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
def test_a_spanish_sheet_comes_back_filled_in_spanish(
    room: BatteryRoom, suffix: str, tmp_path: Path
) -> None:
    path = tmp_path / f"ronda.{suffix}"
    room.run("round", "blank", "B1", "--out", path, "--language", "es")
    rows = [cells for _, cells in read_table(path)]
    head = next(place for place, cells in enumerate(rows) if cells[0] == "elemento")
    filled = [*rows[: head + 1]]
    for cell in range(1, 25):
        filled.append([str(cell), "1,280", "25", "2,12", "en la marca" if cell % 2 else "bajo"])
    with (tmp_path / "llena.csv").open("w", encoding="cp1252", newline="") as file:
        csv.writer(file, delimiter=";").writerows(filled)
    done = room.run("round", "import", tmp_path / "llena.csv", "--charged", "--rested", "9",
                    "--json")  # fmt: skip
    assert done.code == 0, done.err
    cells = room.events("cells_read")[-1].body["cells"]
    assert len(cells) == 24
    assert {cell["level"] for cell in cells} == {"at mark", "low"}


@pytest.mark.parametrize(
    ("cells", "layout"), [(80, None), (80, "20 x 4"), (80, "4 x 20"), (6, None)]
)
def test_a_blank_sheet_draws_every_cell_within_its_pages(
    room: BatteryRoom, cells: int, layout: str | None, tmp_path: Path
) -> None:
    from tagkit.labels.raster import render_pages
    from tagkit.reader.decoders import decode_all

    changes = ["--set", f"cells={cells}", "--set", f"voltage={2 * cells} V"]
    if layout:
        changes += ["--set", f"cell-layout={layout}"]
    room.staff()
    done = room.run("amend", "B1", *changes, "--reason", "counted", "--by", "SW", "--second", "JT")
    assert done.code == 0, done
    path = tmp_path / "blank.pdf"
    room.run("round", "blank", "B1", "--out", path)
    words = [word for page in PdfDocument(path) for word in inside(page)]
    assert {str(cell) for cell in range(1, cells + 1)} <= set(words)
    assert decode_all(next(iter(render_pages(path, 100)))) == [room["B1"]]


def inside(page: object) -> list[str]:
    """The words of a page; none of them reaches beyond its edge."""
    text = page.get_textpage()  # type: ignore[attr-defined]
    width, height = page.get_size()  # type: ignore[attr-defined]
    for place in range(text.count_rects()):
        left, bottom, right, top = text.get_rect(place)
        assert left >= 0 and right <= width and bottom >= 0 and top <= height
    return text.get_text_range().split()


def test_long_names_are_cut_and_nothing_leaves_the_page(lived: BatteryRoom, tmp_path: Path) -> None:
    settings = lived.folder / "site.toml"
    text = settings.read_text(encoding="utf-8")
    name = "Cold store of the north eastern harbour, hall twelve, battery room for reach trucks"
    settings.write_text(re.sub(r'^name = ""', f'name = "{name}"', text, count=1, flags=re.M),
                        encoding="utf-8")  # fmt: skip
    lived.run("inspect", "B1", "--finding", "W" * 300)
    for report in (("battery", "B1"), ("month", f"{ago():%Y-%m}"), ("people",)):
        path = tmp_path / f"{report[0]}.pdf"
        assert lived.run("report", *report, "--out", path).code == 0
        pages = list(PdfDocument(path))
        assert [inside(page) for page in pages]
        if report[0] == "battery":
            assert len(pages) == 2


def test_dates_are_written_as_the_language_does() -> None:
    moment = ago().replace(year=2031, month=1, day=5, hour=14, minute=7)
    english, spanish = (Words(one, "metric", moment.tzinfo) for one in ("en", "es"))
    assert english.minute(moment) == "5 Jan 2031, 14:07"
    assert spanish.minute(moment) == "5 ene 2031, 14:07"
    assert english.month(moment.date()) == "January 2031"
    assert spanish.month(moment.date()) == "enero de 2031"
    assert english.day("2031") == "2031" and spanish.day("2031-01") == "enero de 2031"
    assert english.day(None) == "—"


def test_an_empty_month_and_nobody_recorded_are_said(room: BatteryRoom, tmp_path: Path) -> None:
    with open_site(room.folder) as site:
        words = words_of(site, "es")
        report_month(site, "2021-02", tmp_path / "m.pdf", words)
        report_people(site, tmp_path / "p.pdf", words)
    assert "No se registró nada." in text_of(tmp_path / "m.pdf")
    assert "Aún no hay nadie registrado." in text_of(tmp_path / "p.pdf")


def test_a_receipt_of_leaving_names_goods_and_papers(lived: BatteryRoom, tmp_path: Path) -> None:
    path = tmp_path / "leaving.pdf"
    assert lived.run("report", "leaving", "B2", "--out", path).code == 2, "it is still here"
    lived.run("retire", "B2", "--reason", "worn out", "--by", "SW")
    lived.run("report", "leaving", "B2", "--out", path)
    text = text_of(path)
    assert "UN 2794" in text and "worn out" in text and text.count("not on record yet") == 2
    lived.run("retire", "B2", "--receipt", "2031/118", "--papers", "W-7", "--by", "SW")
    found = lived.run("report", "leaving", "B2", "--out", path, "--force", "--json").data
    assert (found["receipt"], found["papers"], found["reason"]) == ("2031/118", "W-7", "worn out")
    assert "2031/118" in text_of(path) and "not on record yet" not in text_of(path)


def test_long_plans_go_on_overleaf_and_stay_above_the_foot(
    room: BatteryRoom, tmp_path: Path
) -> None:
    head = "Bay,Maker's serial,Output voltage (V),Chemistries,Capacity min (Ah),Capacity max (Ah)"
    bays = [f"X{one},CX{one},48,vented lead-acid,500,900" for one in range(60)]
    room.take_in("\n".join((head, *bays, "")))
    path = tmp_path / "air.pdf"
    assert room.run("plan", "ventilation", "--out", path).code == 0
    pages = [page.get_textpage() for page in PdfDocument(path)]
    assert len(pages) > 1
    for page in pages:
        marks = [page.get_rect(place) for place in range(page.count_rects())]
        foot = max(top for _, _, _, top in marks[-4:])
        assert foot < 80 < min(bottom for _, bottom, _, _ in marks[:-6])
