"""The sheet of a round on paper or as a file: a blank one to fill in, and a filled one read.

On paper the cells stand as they lie in the case, numbered from the positive post, with the
battery's QR code. As XLSX or CSV it is a table with the battery's number above it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tagkit.assets.tag import Kind, parse_tag
from tagkit.errors import WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.care_facts import BatteryFacts, battery_facts
from tagkit.jobs.cell_layout import cell_rows
from tagkit.jobs.paper import GREY, MARGIN, MM, Paper, defers
from tagkit.jobs.rounds import CAUTION, CellWords
from tagkit.jobs.site import Site
from tagkit.jobs.tables import Table, read_table, write_tables
from tagkit.record.state import AssetState

HEADINGS = ("cell", "gravity", "temperature", "voltage", "level")
_NAMES = {
    "cell": ("cell", "cell no", "no", "celda", "zelle"),
    "gravity": ("gravity", "sg", "specific gravity", "densidad"),
    "temperature": ("temperature", "temp", "°c", "°f", "temperatura"),
    "voltage": ("voltage", "volts", "v", "tensión", "voltaje"),
    "level": ("level", "nivel"),
}  # fmt: skip


@dataclass(frozen=True)
class FilledSheet:
    """A sheet as it was filled in."""

    battery: str
    cells: tuple[CellWords, ...]
    temperature_unit: str


def blank_sheet(site: Site, battery: str, out: Path) -> int:
    """Writes a blank sheet (.pdf, .xlsx or .csv by the name of ``out``); how many cells."""
    state = asset(site.record, battery, Kind.BATTERY)
    facts = battery_facts(state, site.settings)
    if facts.cells is None:
        raise WrongInput(
            f"how many cells {state.tag} has is not known", "Amend its number of cells first"
        )
    if out.suffix.lower() == ".pdf":
        _on_paper(site, state, facts, out)
    elif out.suffix.lower() in (".xlsx", ".csv"):
        unit = "°F" if site.settings.site.units == "us" else "°C"
        heads = ("cell", "gravity", f"temperature {unit}", "voltage", "level")
        cells = tuple((cell, None, None, None, None) for cell in range(1, facts.cells + 1))
        # The number stands above the headings, in the same worksheet.
        write_tables(
            out, [Table("Round", (f"Battery {state.tag}", "", "", "", ""), (heads, *cells))], {}
        )
    else:
        raise WrongInput(f"“{out.name}” says no form of file", "End it in .pdf, .xlsx or .csv")
    return facts.cells


def read_filled(path: Path, battery: str | None = None) -> FilledSheet:
    """What was filled in. ``battery``: its number, where the file does not say it."""
    table = read_table(path)
    number = _number(table, battery, path)
    place = next((at for at, (_, cells) in enumerate(table) if _is_head(cells)), None)
    if place is None:
        raise WrongInput(
            "there is no row of headings with “cell”",
            f"Use the headings {', '.join(HEADINGS)}",
            str(path),
        )
    columns = _columns(table[place][1])
    unit = "°C"
    if any("°f" in cell.lower() or "fahrenheit" in cell.lower() for cell in table[place][1]):
        unit = "°F"
    found = []
    for row, cells in table[place + 1 :]:
        words = {
            name: cells[column].strip() if column < len(cells) else ""
            for name, column in columns.items()
        }
        if not any(value for name, value in words.items() if name != "cell"):
            continue
        cell = re.fullmatch(r"(\d{1,2})(?:\.0+)?", words["cell"])
        if not cell:
            raise WrongInput(
                f"“{words['cell']}” is not the number of a cell", "Count from the positive post",
                f"{path.name}, row {row}",
            )  # fmt: skip
        found.append(
            CellWords(
                int(cell[1]), words.get("gravity", ""), words.get("temperature", ""),
                words.get("voltage", ""), words.get("level", ""),
            )
        )  # fmt: skip
    if not found:
        raise WrongInput("no cell is filled in", "Fill in at least one reading", str(path))
    return FilledSheet(number, tuple(found), unit)


def read_line(line: str, first: int = 1) -> tuple[CellWords, ...]:
    """Readings keyed in one after the other, cell by cell from ``first``.

    Each is GRAVITY[/TEMPERATURE[/VOLTAGE[/LEVEL]]]; "-" for a cell that was not read; "7:" sets
    the cell. "1280/21/2.12 1275 - 1281///low 12: 1240".
    """
    found = []
    cell = first
    for token in line.split():
        if match := re.fullmatch(r"(\d{1,2}):(.*)", token):
            cell = int(match[1])
            token = match[2]
            if not token:
                continue
        if token not in ("-", "–"):
            parts = [part if part not in ("-", "–") else "" for part in token.split("/")]
            if len(parts) > 4:
                raise WrongInput(
                    f"“{token}” has too many parts", "Write GRAVITY/TEMPERATURE/VOLTAGE/LEVEL",
                    f"cell {cell}",
                )  # fmt: skip
            parts += [""] * (4 - len(parts))
            found.append(CellWords(cell, *(part.replace("_", " ") for part in parts)))
        cell += 1
    return tuple(found)


def _number(table: Sequence[tuple[int, list[str]]], battery: str | None, path: Path) -> str:
    if battery:
        return battery
    for _, cells in table[:10]:
        for cell in cells:
            for word in cell.split():
                try:
                    tag = parse_tag(word)
                except WrongInput:
                    continue
                if tag.kind is Kind.BATTERY:
                    return str(tag)
    raise WrongInput(
        "the sheet does not say which battery it is of", "Add --battery TAG", str(path)
    )


def _is_head(cells: Sequence[str]) -> bool:
    columns = _columns(cells)
    return "cell" in columns and len(columns) > 1


def _columns(cells: Sequence[str]) -> dict[str, int]:
    found: dict[str, int] = {}
    for column, cell in enumerate(cells):
        plain = " ".join(re.sub(r"[().,\[\]]", " ", cell.lower()).split())
        for name, words in _NAMES.items():
            if name not in found and any(
                plain == word or plain.startswith(f"{word} ") for word in words
            ):
                found[name] = column
                break
    return found


def _on_paper(site: Site, state: AssetState, facts: BatteryFacts, out: Path) -> None:
    paper = Paper(site, f"Round of {state.tag}", defers(site))
    paper.symbol(parse_tag(state.tag), paper.width - MARGIN - 30, MARGIN - 3, 32)
    paper.text("Round, cell by cell", 11, colour=GREY)
    paper.text(state.tag, 24, bold=True)
    serial = f"maker's serial {state.maker_serial}" if state.maker_serial else "serial not known"
    volts = f"{facts.volts:g} V" if facts.volts else "voltage not known"
    paper.text(
        f"{serial} · {volts} · {facts.cells} cells · {facts.chemistry or 'chemistry not known'}"
    )
    paper.y += 5
    for words in (
        "Date, time ________________ · Read by ________ · Keyed in by ________",
        "Hydrometer ______________ · Meter ______________ · Temperatures in ☐ °C ☐ °F",
        "Charged before: ☐ yes ☐ no · Hours rested ______ · Water since: ☐ no ☐ yes, ______ h ago",
        "Voltages taken: ☐ at rest ☐ on charge ☐ under load",
    ):  # fmt: skip
        paper.text(words, 10, gap=1.8)
    paper.y += 1
    paper.box(CAUTION)
    assert facts.cells is not None
    layout = state.nameplate.get("cell_layout")
    rows = cell_rows(str(layout["value"]) if layout else None, facts.cells)
    _case(paper, rows, facts.watered)
    paper.text(
        "Cells are numbered from the positive post, as drawn. SG: as read, not corrected. Level: "
        "bare (plates bare), low, at mark, over. A reversed cell, or one below 1.7 V at rest: "
        "stop, hold the battery, call a qualified person.",
        8.5,
    )
    paper.save(out)


def _case(paper: Paper, rows: Sequence[Sequence[int]], watered: bool) -> None:
    """The cells as they lie, each with its fields."""
    across = max(len(row) for row in rows)
    side = min(paper.inner / across, 34.0)
    fields = ("SG", "°", "V", "level") if watered else ("°", "V")
    tall = min(5.5 + 9.0 * len(fields), max(18.0, (paper.left - 14) / len(rows)))
    step = (tall - 5) / len(fields)
    canvas = paper.canvas
    for place, row in enumerate(rows):
        shift = 0 if place % 2 == 0 else across - len(row)
        for column, cell in enumerate(row):
            x, y = MARGIN + (column + shift) * side, paper.y + place * tall
            canvas.setStrokeColor("#1a1a1a")
            canvas.setLineWidth(0.8)
            canvas.rect(x * MM, (paper.height - y - tall) * MM, side * MM, tall * MM)
            mark = "  + post" if cell == 1 else ""
            paper.at(x + 1.2, y + 4.2, f"{cell}{mark}", 9, bold=True)
            canvas.setStrokeColor("#bbbbbb")
            canvas.setLineWidth(0.4)
            for number, name in enumerate(fields):
                base = y + 4.6 + step * (number + 1) - 1.2
                paper.at(x + 1.2, base, name, 7, colour=GREY)
                canvas.line((x + 8) * MM, (paper.height - base) * MM, (x + side - 1.5) * MM,
                            (paper.height - base) * MM)  # fmt: skip
    paper.y += tall * len(rows) + 2
