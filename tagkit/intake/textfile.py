"""Text tables (CSV): encoding and separator are found out, never asked for.

Separators: comma, semicolon, tab. Encodings: UTF-8 with or without byte order mark, UTF-16 and
UTF-32 with one, else Windows-1252. Row numbers are those a spreadsheet shows: a quoted cell may
run over several lines of the file and still be one row. (RFC 4180.)
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterator
from itertools import pairwise

from tagkit.errors import WrongInput
from tagkit.intake import limits
from tagkit.intake.grid import Cell, Form, Grid, build_rows
from tagkit.intake.header import best_header

_MARKS = (  # UTF-32 first: its mark begins with that of UTF-16
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_SEPARATORS = ",;\t"
# A text mark before what a spreadsheet would take for a formula; see rejected.py.
_TEXT_MARK = re.compile(r"\A'(?='*(?:[\t\r\n]|\s*[=+\-@\uff1d\uff0b\uff0d\uff20]))")


def read_text_table(data: bytes, where: str) -> Grid:
    """The rows of a CSV file; raises WrongInput with the remedy when it is none."""
    text, encoding = _decoded(data, where)
    newline = "\r\n" if "\r\n" in text else "\n"
    declared, text = _declared_separator(text)
    if declared:
        rows = build_rows(_cells(text, declared, where, skipped=1), where)
        return Grid(rows, Form("csv", declared, encoding, newline))
    separator = _separator(text)
    rows = build_rows(_cells(text, separator, where), where)
    return Grid(rows, Form("csv", separator, encoding, newline))


def _decoded(data: bytes, where: str) -> tuple[str, str]:
    encoding = next((name for mark, name in _MARKS if data.startswith(mark)), "utf-8")
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        if encoding != "utf-8":
            raise _not_text(where) from None
        try:
            text, encoding = data.decode("cp1252"), "cp1252"
        except UnicodeDecodeError:
            raise _not_text(where) from None
    if "\0" in text or len(re.findall(r"[\x01-\x08\x0e-\x1f]", text)) > 8:
        raise _not_text(where)
    return text, encoding


def _not_text(where: str) -> WrongInput:
    return WrongInput(
        "this is neither a text table nor an XLSX workbook",
        "Save the sheet as XLSX, or as CSV in UTF-8",
        where,
    )


def _declared_separator(text: str) -> tuple[str, str]:
    """The separator of a first line "sep=;" as spreadsheets write it, and the text after it."""
    match = re.match(r'"?sep=([,;\t])"?[ \t]*(?:\r\n|\r|\n)', text, re.IGNORECASE)
    return (match[1], text[match.end() :]) if match else ("", text)


def _separator(text: str) -> str:
    """The separator under which a header is best recognised; else the most frequent one."""
    head = text[:20_000]
    scores = []
    for separator in _SEPARATORS:
        rows = _first_rows(head, separator)
        known = best_header([[cell.text for cell in row] for row in rows])
        scores.append((known.score if known else 0, _steady(rows), head.count(separator)))
    best = max(range(len(_SEPARATORS)), key=lambda index: scores[index])
    if not any(scores[best]):
        best = 0
    return _SEPARATORS[best]


def _steady(rows: list[tuple[Cell, ...]]) -> int:
    """In how many rows there are as many cells as in the row before, and more than one."""
    lengths = [len(row) for row in rows if row]
    return sum(1 for before, after in pairwise(lengths) if before == after > 1)


def _first_rows(head: str, separator: str) -> list[tuple[Cell, ...]]:
    rows: list[tuple[Cell, ...]] = []
    try:
        for row in csv.reader(io.StringIO(head, newline=""), delimiter=separator):
            rows.append(tuple(Cell(text) for text in row))
            if len(rows) >= 60:
                break
    except csv.Error:
        pass
    return rows


def _cells(text: str, separator: str, where: str, skipped: int = 0) -> Iterator[tuple[Cell, ...]]:
    yield from ((),) * skipped
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    number = skipped
    try:
        for row in reader:
            number += 1
            yield tuple(Cell(_TEXT_MARK.sub("", cell))
                        for cell in row)  # fmt: skip
    except csv.Error as error:
        if "field limit" in str(error) or "field larger" in str(error):
            problem = f"a cell holds more than {limits.CELL_CHARACTERS:,} characters"
        else:
            problem = "a quotation mark is not closed, or something stands behind a closing one"
        raise WrongInput(
            problem,
            "Quotation marks around a cell go in pairs; within it each one is doubled",
            f"{where}, row {number + 1}",
        ) from None
