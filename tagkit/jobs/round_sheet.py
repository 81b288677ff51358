"""The sheet of a round on paper or as a file: a blank one to fill in, and a filled one read.

On paper the cells stand as they lie in the case, numbered from the positive post, with the
battery's QR code. As XLSX or CSV it is a table with the battery's number above it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tagkit.assets.chemistry import CHEMISTRIES
from tagkit.assets.tag import Kind, parse_tag
from tagkit.errors import WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.care_facts import BatteryFacts, battery_facts
from tagkit.jobs.cell_layout import cell_rows
from tagkit.jobs.paper import GREY, MARGIN, MM, Paper
from tagkit.jobs.report_file import words_of
from tagkit.jobs.rounds import CAUTION, CellWords
from tagkit.jobs.site import Site
from tagkit.jobs.tables import Table, read_table, write_tables
from tagkit.language.words import Words
from tagkit.record.state import AssetState

HEADINGS = ("cell", "gravity", "temperature", "voltage", "level")
_NAMES = {
    "cell": ("cell", "cell no", "no", "celda", "elemento", "vaso", "zelle"),
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
    temperature_unit: str | None
    """Of its temperatures; None: the sheet does not say."""


def blank_sheet(site: Site, battery: str, out: Path, words: Words | None = None) -> int:
    """Writes a blank sheet (.pdf, .xlsx or .csv by the name of ``out``); how many cells.

    ``words``: the reader's; the site's own unless given. The temperatures are in its unit.
    """
    state = asset(site.record, battery, Kind.BATTERY)
    facts = battery_facts(state, site.settings)
    spoken = words or words_of(site)
    if facts.cells is None:
        raise WrongInput(
            f"how many cells {state.tag} has is not known", "Amend its number of cells first"
        )
    if out.suffix.lower() == ".pdf":
        _on_paper(site, spoken, state, facts, out)
    elif out.suffix.lower() in (".xlsx", ".csv"):
        heads = (
            spoken("cell"), spoken("gravity"), f"{spoken('temperature')} {_degrees(spoken)}",
            spoken("voltage"), spoken("level"),
        )  # fmt: skip
        cells = tuple((cell, None, None, None, None) for cell in range(1, facts.cells + 1))
        # The number stands above the headings, in the same worksheet.
        above = (spoken("Battery {tag}", tag=state.tag), "", "", "", "")
        write_tables(out, [Table(spoken("Round"), above, (heads, *cells))], {})
    else:
        raise WrongInput(f"“{out.name}” says no form of file", "End it in .pdf, .xlsx or .csv")
    return facts.cells


def _degrees(words: Words) -> str:
    return "°F" if words.units == "us" else "°C"


def read_filled(path: Path, battery: str | None = None) -> FilledSheet:
    """What was filled in. ``battery``: its number, where the file does not say it."""
    return filled_in(read_table(path), battery, str(path))


def filled_in(
    table: Sequence[tuple[int, list[str]]], battery: str | None, name: str
) -> FilledSheet:
    """The same from the rows of a file called ``name``."""
    number = _number(table, battery, name)
    place = next((at for at, (_, cells) in enumerate(table) if _is_head(cells)), None)
    if place is None:
        raise WrongInput(
            "there is no row of headings with “cell”",
            f"Use the headings {', '.join(HEADINGS)}",
            name,
        )
    columns = _columns(table[place][1])
    heads = " ".join(table[place][1]).lower()
    unit = (
        "°F" if "°f" in heads or "fahrenheit" in heads
        else "°C" if "°c" in heads or "celsius" in heads
        else None
    )  # fmt: skip
    found = []
    for row, cells in table[place + 1 :]:
        words = {
            what: cells[column].strip() if column < len(cells) else ""
            for what, column in columns.items()
        }
        if not any(value for what, value in words.items() if what != "cell"):
            continue
        cell = re.fullmatch(r"(\d{1,2})(?:\.0+)?", words["cell"])
        if not cell:
            raise WrongInput(
                f"“{words['cell']}” is not the number of a cell", "Count from the positive post",
                f"{name}, row {row}",
            )  # fmt: skip
        found.append(
            CellWords(
                int(cell[1]), words.get("gravity", ""), words.get("temperature", ""),
                words.get("voltage", ""), words.get("level", ""),
            )
        )  # fmt: skip
    if not found:
        raise WrongInput("no cell is filled in", "Fill in at least one reading", name)
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


def _number(table: Sequence[tuple[int, list[str]]], battery: str | None, name: str) -> str:
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
    raise WrongInput("the sheet does not say which battery it is of", "Add --battery TAG", name)


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


def _on_paper(site: Site, words: Words, state: AssetState, facts: BatteryFacts, out: Path) -> None:
    paper = Paper(site, words, words("Round of {tag}", tag=state.tag))
    paper.symbol(parse_tag(state.tag), paper.width - MARGIN - 30, MARGIN - 3, 32)
    unknown = words("not known")
    chemistry = CHEMISTRIES.get(facts.chemistry or "", facts.chemistry)
    about = " · ".join(
        (
            words("maker's serial {serial}", serial=state.maker_serial or unknown),
            f"{facts.volts:g} V" if facts.volts else words("voltage not known"),
            words("{count} cells", count=facts.cells or 0),
            words(chemistry) if chemistry else words("chemistry not known"),
        )
    )
    paper.head(words("Round, cell by cell"), state.tag, about, room=36)
    paper.y = max(paper.y, MARGIN + 31)
    here, other = (_degrees(words), "°C" if words.units == "us" else "°F")
    for row in (
        words("Date, time ______________ · Read by ________ · Keyed in by ________"),
        words("Hydrometer ____________ · Meter ____________ · Temperatures in ☐ {here} ☐ {other}",
              here=here, other=other) if facts.watered else
        words("Meter ____________ · Temperatures in ☐ {here} ☐ {other}", here=here, other=other),
        words("Charged before: ☐ yes ☐ no · Hours rested _____ · Water since: ☐ no ☐ yes, _____ h "
              "ago") if facts.watered else
        words("Charged before: ☐ yes ☐ no · Hours rested _____"),
        words("Voltages taken: ☐ at rest ☐ on charge ☐ under load"),
    ):  # fmt: skip
        paper.text(row, 10, gap=1.8)
    paper.y += 1
    paper.box(words(CAUTION) if facts.watered else words(SEALED_CAUTION))
    assert facts.cells is not None
    layout = state.nameplate.get("cell_layout")
    rows = cell_rows(str(layout["value"]) if layout else None, facts.cells)
    _case(paper, rows, facts.watered)
    told = words(
        "Cells are numbered from the positive post, as drawn. SG: as read, not corrected. Level: "
        "bare (plates bare), low, at mark, over. A reversed cell, or one below {volts} V at rest: "
        "stop, hold the battery, call a qualified person.",
        volts=f"{site.settings.cells.volts_at_rest:g}",
    ) if facts.watered else words(
        "Cells are numbered from the positive post, as drawn. A reversed cell, or one below the "
        "maker's limit: stop, hold the battery, call a qualified person."
    )  # fmt: skip
    if paper.left < 14:
        paper.new_page()
    paper.text(told, 8.5)
    paper.save(out)


SEALED_CAUTION = (
    "Eye protection; no jewellery, insulated tools; no flame or sparks. A sealed or lithium battery "
    "is not opened: measure where its maker lets you. The maker's instructions and local codes "
    "decide."
)
_NARROWEST, _LOWEST = 16.0, 18.0
"""A cell's field that somebody in gloves can still write into, mm."""


def _case(paper: Paper, rows: Sequence[Sequence[int]], watered: bool) -> None:
    """The cells as they lie, each with its fields; a long case is drawn turned, and overleaf."""
    words = paper.words
    most = int(paper.inner / _NARROWEST)
    if max(map(len, rows)) > most >= len(rows):
        rows = [[row[place] for row in rows if place < len(row)] for place in range(len(rows[0]))]
        paper.text(words("The case is drawn turned: its rows run down the page."), 8.5)
    elif max(map(len, rows)) > most:
        cells = sorted(cell for row in rows for cell in row)
        rows = [cells[start : start + 10] for start in range(0, len(cells), 10)]
        paper.text(words("The cells are drawn in order, not as they lie."), 8.5)
    across = max(len(row) for row in rows)
    side = min(paper.inner / across, 34.0)
    fields = ("SG", "°", "V", words("level")) if watered else ("°", "V")
    tall = min(5.5 + 9.0 * len(fields), max(_LOWEST, (paper.left - 14) / len(rows)))
    for place, row in enumerate(rows):
        if paper.left < tall:
            paper.new_page()
        shift = 0 if place % 2 == 0 else across - len(row)
        for column, cell in enumerate(row):
            _cell(paper, cell, MARGIN + (column + shift) * side, side, tall, fields)
        paper.y += tall
    paper.y += 2


def _cell(
    paper: Paper, cell: int, x: float, side: float, tall: float, fields: Sequence[str]
) -> None:
    canvas, y, step = paper.canvas, paper.y, (tall - 5) / len(fields)
    canvas.setStrokeColor("#1a1a1a")
    canvas.setLineWidth(0.8)
    canvas.rect(x * MM, (paper.height - y - tall) * MM, side * MM, tall * MM)
    paper.at(x + 1.2, y + 4.2, str(cell), 9, bold=True)
    if cell == 1:
        paper.at(x + 6, y + 4.2, paper.words("+ post"), 7, bold=True)
    canvas.setStrokeColor("#bbbbbb")
    canvas.setLineWidth(0.4)
    widest = max(paper.measure(name, 6.5) for name in fields)
    for number, name in enumerate(fields):
        base = y + 4.6 + step * (number + 1) - 1.2
        paper.at(x + 1.2, base, name, 6.5, colour=GREY)
        down = (paper.height - base) * MM
        canvas.line((x + widest + 2) * MM, down, (x + side - 1.5) * MM, down)
