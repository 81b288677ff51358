"""Sheets made in the tests: a few lines of text, or a workbook from rows of values."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from typing import Any

import openpyxl
from tagkit.intake.delivery import Delivery, read_delivery
from tagkit.intake.sheet import sheet_from_bytes


def delivered(content: str | bytes, name: str = "delivery.csv", **how: Any) -> Delivery:
    """The delivery in a file with these contents."""
    data = content.encode("utf-8") if isinstance(content, str) else content
    return read_delivery(sheet_from_bytes(data, name, kind=how.get("kind")), **how)


def workbook_of(
    rows: Iterable[Sequence[Any]],
    formats: dict[str, str] | None = None,
    merged: Sequence[str] = (),
    title: str = "Delivery",
) -> openpyxl.Workbook:
    """A workbook with one worksheet; ``formats``: cell -> number format."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = title
    for row in rows:
        sheet.append(list(row))
    for cell, style in (formats or {}).items():
        sheet[cell].number_format = style
    for area in merged:
        sheet.merge_cells(area)
    return book


def saved(book: openpyxl.Workbook) -> bytes:
    """The bytes of a workbook."""
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def xlsx(rows: Iterable[Sequence[Any]], **how: Any) -> bytes:
    """The bytes of a workbook with these rows."""
    return saved(workbook_of(rows, **how))


def facts(delivery: Delivery, name: str) -> list[str | None]:
    """One fact of every asset taken, in words."""
    found = [getattr(row.plate, name) for row in delivery.rows]
    return [None if fact is None else str(fact.value) for fact in found]


def problems(delivery: Delivery) -> list[tuple[int, str, str]]:
    """Row, column and problem of all that was rejected."""
    return [(entry.row, entry.column, entry.problem) for entry in delivery.rejected]
