"""The supplier's sheet that the demo takes in, with the troubles such sheets have.

One table, written in two forms: a CSV file as a European office program saves it (semicolons,
decimal comma, Windows-1252) and an XLSX workbook. The files under ``demo_site/delivery`` are
what :func:`write_csv` and :func:`write_workbook` make; a test keeps them so.

The troubles: title lines above the header, weights in kg and in lb with and without thousands
separators, one length in cm, a blank line, a battery whose weight was forgotten, a serial
written twice, a designation that contradicts the capacity beside it, a totals row.
"""

from __future__ import annotations

import csv
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

Cell = str | Decimal | None

TITLE = (
    ("Delivery note 26-4471 – traction batteries, weights with acid ± 2 %",),
    ("To: Quillmoor Cold Store, battery room", None, None, "Unloaded in the order listed"),
    (),
)
HEADER = (
    "Pos.", "Serial no.", "Designation", "Voltage [V]", "Cells", "Capacity [Ah]",
    "Capacity rate [h]", "Service weight", "Length [mm]", "Width [mm]", "Height [mm]",
    "Chemistry", "Full gravity [kg/l]", "Connector", "Cable side", "Cable length [mm]",
)  # fmt: skip


def _battery(position: int, serial: str, designation: str, figures: str, weight: str | None,
             size: str, plug: str, full: str = "1.29") -> tuple[Cell, ...]:  # fmt: skip
    """One row; ``figures``: V, cells, Ah, rate; ``size``: L, W, H; a bare number is a number."""
    words: list[str | None] = [str(position), serial, designation, *figures.split(), weight]
    words += [*size.split("|"), "vented lead-acid", full, *plug.split("|")]
    return tuple(Decimal(word) if word and _is_number(word) else word for word in words)


def _is_number(word: str) -> bool:
    return word.replace(".", "", 1).isdigit()


_C_SIZE, _C_PLUG = "830|627|784", "DIN 320 A, 48 V wet key|right|1800"
_H_PLUG, _P_PLUG = "DIN 320 A, 80 V wet key|right|2000", "DIN 160 A, 24 V wet key|left|1200"
_R_PLUG = "flat two-pole 350 A, grey|left|1220"

ROWS: tuple[tuple[Cell, ...], ...] = (
    _battery(1, "C/4808/26", "48 V 5 PzS 775", "48 24 775 5", "{1142} kg", _C_SIZE, _C_PLUG),
    _battery(2, "C/4809/26", "48 V 5 PzS 775", "48 24 775 5", "{2511.4} lb", _C_SIZE, _C_PLUG),
    _battery(3, "C/4810/26", "48 V 5 PzS 575", "48 24 575 5", "842 kg", _C_SIZE, _C_PLUG),
    _battery(4, "C/4811/26", "48 V 5 PzS 775", "48 24 775 5", None, _C_SIZE, _C_PLUG),
    (),
    _battery(5, "H/8007/26", "80 V 5 PzS 775", "80 40 775 5", "{1851} kg", "1025|855|784", _H_PLUG),
    _battery(6, "P26-2191", "24 V 3 PzS 465", "24 12 465 5", "371 kg", "79.7 cm|212|784", _P_PLUG),
    _battery(7, "P26-2191", "24 V 3 PzS 465", "24 12 465 5", "370 kg", "797|212|784", _P_PLUG),
    _battery(8, "26R 36115", "18-125-17", "36 18 875 6", "{2590} lb", "970|513|785", _R_PLUG,
             "1.28"),
    (),
    ("Total", None, "8 batteries", None, None, None, None, "{6890} kg"),
)  # fmt: skip


def write_csv(path: Path) -> None:
    """The sheet as CSV: semicolons, decimal comma, Windows-1252, lines ended CR LF."""
    with path.open("w", encoding="cp1252", newline="") as file:
        writer = csv.writer(file, delimiter=";", lineterminator="\r\n")
        for row in (*TITLE, HEADER, *ROWS):
            cells = [_with_decimal_comma(cell) for cell in row]
            writer.writerow(cells + [""] * (len(HEADER) - len(cells)))


def write_workbook(path: Path) -> None:
    """The sheet as an XLSX workbook: figures as numbers, weights as text with their unit."""
    from openpyxl import Workbook
    from openpyxl.styles import Font

    book = Workbook()
    sheet = book.active
    sheet.title = "Delivery"
    for row in (*TITLE, HEADER, *ROWS):
        sheet.append([_for_workbook(cell) for cell in row])
    for cell in (*sheet[1], *sheet[len(TITLE) + 1]):
        cell.font = Font(bold=True)
    for index, title in enumerate(HEADER):
        column = sheet.cell(row=1, column=index + 1).column_letter
        sheet.column_dimensions[column].width = max(9, len(title) + 2)
    moment = datetime(2026, 3, 2)  # noqa: DTZ001 - workbook dates have no time zone
    book.properties.created = book.properties.modified = moment
    book.properties.creator = "Quillmoor demo"
    book.save(path)


def _with_decimal_comma(cell: Cell) -> str:
    if cell is None:
        return ""
    text = f"{cell:f}" if isinstance(cell, Decimal) else cell
    before, brace, rest = text.partition("{")
    if brace:
        figure, _, after = rest.partition("}")
        grouped = f"{Decimal(figure):,}".translate(str.maketrans(",.", ".,"))
        return f"{before}{grouped}{after}"
    return text.replace(".", ",") if isinstance(cell, Decimal) or text.endswith(" cm") else text


def _for_workbook(cell: Cell) -> Any:
    if isinstance(cell, Decimal):
        return int(cell) if cell == int(cell) else float(cell)
    return cell.replace("{", "").replace("}", "") if cell else cell
