"""Tables for a spreadsheet: CSV whose cells are data and never formulas.

A cell that begins with = + - @, a tab or a return would be computed by a spreadsheet (OWASP, CSV
injection); a name of an asset or a reason that somebody typed must not. Such text gets an
apostrophe in front, which spreadsheets take as “this is text”. Numbers stay numbers.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence

_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
_NUMBER = re.compile(r"[+-]?\d+([.,]\d+)?", re.ASCII)


def csv_text(headers: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """The table as RFC 4180 CSV with a byte order mark, so that spreadsheets take it for UTF-8."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(headers)
    for row in rows:
        writer.writerow([as_data(cell) for cell in row])
    return "\ufeff" + out.getvalue()


def as_data(cell: object) -> str:
    """A cell that no spreadsheet computes."""
    if cell is None:
        return ""
    text = str(cell)
    if text.lstrip(" ").startswith(_STARTS) and not _NUMBER.fullmatch(text):
        return f"'{text}"
    return text
