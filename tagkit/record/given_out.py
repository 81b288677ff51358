"""Numbers that two chains of one site gave out, as two records restored from one backup may.

Registrations are never taken back, so what was read once is kept for the next question, per file:
a page that asks every few seconds reads only the registrations that have come since.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tagkit.record.schema import RARE_KINDS
from tagkit.record.store import Connection

_RARE = ", ".join(f"'{kind}'" for kind in RARE_KINDS)


@dataclass(frozen=True)
class _Given:
    """What was read of a file: up to which row, the first chain of each number, and the numbers
    that another chain registered as well."""

    until: int
    chain_of: Mapping[str, int]
    twice: frozenset[str]


_NOTHING = _Given(0, {}, frozenset())
_KNOWN: dict[tuple[str, int, int], _Given] = {}


def registered_by_two(connection: Connection) -> list[str]:
    """Numbers with registrations in more than one chain, voided ones too: to be looked at."""
    if not _several_epochs(connection):
        return []
    file = _file_of(connection)
    before = _KNOWN.get(file, _NOTHING) if file else _NOTHING
    rows = connection.execute(
        "SELECT e.n, e.chain, t.value FROM events e INDEXED BY events_rare, "
        "json_each(CAST(e.raw AS TEXT), '$.tags') t "
        f"WHERE e.kind = 'registered' AND e.kind IN ({_RARE}) AND e.n > ?",
        (before.until,),
    ).fetchall()
    if not rows:
        return sorted(before.twice)
    chain_of, twice = dict(before.chain_of), set(before.twice)
    for _, chain, tag in rows:
        if chain_of.setdefault(tag, chain) != chain:
            twice.add(tag)
    found = _Given(max(row[0] for row in rows), chain_of, frozenset(twice))
    if file:
        _KNOWN[file] = found
    return sorted(found.twice)


def _several_epochs(connection: Connection) -> bool:
    """Whether a site has chains beside one that is no longer written to here."""
    row = connection.execute(
        "SELECT 1 FROM chains WHERE writable = 0 AND site IN "
        "(SELECT site FROM chains GROUP BY site HAVING count(*) > 1) LIMIT 1"
    ).fetchone()
    return row is not None


def _file_of(connection: Connection) -> tuple[str, int, int] | None:
    """What tells this file from another that was put in its place; None: it is not kept."""
    path = next(
        (row[2] for row in connection.execute("PRAGMA database_list").fetchall()
         if row[1] == "main"), ""
    )  # fmt: skip
    try:
        stat = Path(path).stat()
    except (OSError, ValueError):
        return None
    return path, stat.st_dev, stat.st_ino
