"""What the folded states mean for today: kept beside them, by whoever knows the site's settings.

The record only keeps it and asks it back quickly. ``unjudged`` names the assets whose state has
changed since; a job judges them again (tagkit.jobs.judging) before it asks.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from tagkit.record import queries
from tagkit.record.store import Connection

NO_CELL = 0


@dataclass(frozen=True)
class Notice:
    """Something to be told of an asset from ``at`` (UTC text) on; ``rank`` 0 is the gravest."""

    tag: str
    code: str
    at: str
    rank: int
    sentence: str
    cell: int = NO_CELL


@dataclass(frozen=True)
class Outlook:
    """One asset's row."""

    tag: str
    kind: str
    standing: str
    ready_at: str | None = None
    rested_since: str | None = None
    volts: float | None = None
    kilograms: float | None = None
    sisters: str | None = None
    thirst: float | None = None
    overcharge: float | None = None
    content: dict[str, Any] = field(default_factory=dict)


class Drinks(NamedTuple):
    """What a battery drinks: litres a day for each cell and 100 Ah, and the share of overcharge
    (%) where that is known."""

    tag: str
    litres_a_day: float
    overcharge_percent: float | None


class OutlookTables:
    """The tables, through a connection of the record's."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def unjudged(self, most: int) -> list[str]:
        """Assets to judge again."""
        rows = self._connection.execute("SELECT tag FROM unjudged LIMIT ?", (most,)).fetchall()
        return [tag for (tag,) in rows]

    def waits(self, tag: str) -> bool:
        """Whether an asset is to be judged again."""
        row = self._connection.execute("SELECT 1 FROM unjudged WHERE tag = ?", (tag,)).fetchone()
        return row is not None

    def judge_all(self, under: str) -> None:
        """Every asset is to be judged again, under these settings."""
        self._connection.execute("INSERT OR IGNORE INTO unjudged SELECT tag FROM assets")
        self._connection.execute(
            "INSERT OR REPLACE INTO meta VALUES ('outlook_under', ?)", (under,)
        )

    def judged_under(self) -> str | None:
        """The settings under which the rows were judged."""
        row = self._connection.execute(
            "SELECT value FROM meta WHERE name = 'outlook_under'"
        ).fetchone()
        return row[0] if row else None

    def state_text(self, tag: str) -> str | None:
        """An asset's state as it is kept now."""
        return queries.state_text(self._connection, tag)

    def keep(self, tag: str, row: Outlook | None, notices: Iterable[Notice]) -> None:
        """Replaces what is kept of an asset; None: there is nothing to keep."""
        execute = self._connection.execute
        if row is None:
            execute("DELETE FROM outlook WHERE tag = ?", (tag,))
        else:
            execute(
                f"INSERT OR REPLACE INTO outlook ({_COLUMNS}) "
                "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    row.tag, row.kind, row.standing, row.ready_at, row.rested_since, row.volts,
                    row.kilograms, row.sisters, row.thirst, row.overcharge, _compact(row.content),
                ),
            )  # fmt: skip
        self._keep_notices(tag, notices)
        execute("DELETE FROM unjudged WHERE tag = ?", (tag,))

    def _keep_notices(self, tag: str, notices: Iterable[Notice]) -> None:
        """Writes what is new and takes away what is gone: mostly that is little."""
        execute = self._connection.execute
        wanted = {(one.code, one.cell): one for one in notices}
        more: Counter[tuple[int, str]] = Counter()
        for one in self._notices("WHERE tag = ?", (tag,)):
            if wanted.get((one.code, one.cell)) == one:
                del wanted[one.code, one.cell]
                continue
            execute(
                "DELETE FROM notices WHERE tag = ? AND code = ? AND cell = ?",
                (tag, one.code, one.cell),
            )
            more[one.rank, one.code] -= 1
        for one in wanted.values():
            execute(
                "INSERT INTO notices (tag, code, cell, at, rank, sentence) "
                "VALUES (?, ?, ?, ?, ?, ?)",
                (one.tag, one.code, one.cell, one.at, one.rank, one.sentence),
            )
            more[one.rank, one.code] += 1
        for (rank, code), count in more.items():
            if count:
                execute(
                    "INSERT INTO told VALUES (?, ?, ?) "
                    "ON CONFLICT DO UPDATE SET count = count + excluded.count",
                    (rank, code, count),
                )

    def row(self, tag: str) -> Outlook | None:
        """What is kept of an asset."""
        found = self._rows("WHERE tag = ?", (tag,))
        return found[0] if found else None

    def counts(self, now: str) -> dict[str, int]:
        """How many batteries there are by standing; charged ones are split at ``now``."""
        found = dict(
            self._connection.execute(
                "SELECT standing, count(*) FROM outlook WHERE kind = 'B' GROUP BY standing"
            ).fetchall()
        )
        charged = found.pop("charged", 0)
        (ready,) = self._connection.execute(
            "SELECT count(*) FROM outlook WHERE kind = 'B' AND standing = 'charged' "
            "AND ready_at <= ?",
            (now,),
        ).fetchone()
        parts = {"ready": ready, "resting": charged - ready, **found}
        return {standing: count for standing, count in parts.items() if count}

    def standings(self) -> dict[float, dict[str, int]]:
        """Nominal voltage -> how many batteries there are by standing."""
        found: dict[float, dict[str, int]] = {}
        for volts, standing, count in self._connection.execute(
            "SELECT volts, standing, count(*) FROM outlook WHERE volts IS NOT NULL "
            "GROUP BY volts, standing"
        ).fetchall():
            found.setdefault(volts, {})[standing] = count
        return found

    def thirsts(self, sisters: str, most: int = 61) -> list[Drinks]:
        """What batteries of one kind drink. Of many only those around the median of the litres,
        which have the same median as all, and whose overcharge is the usual one."""
        count = self._connection.execute(
            "SELECT count(*) FROM outlook WHERE sisters = ? AND thirst IS NOT NULL", (sisters,)
        ).fetchone()[0]
        rows = self._connection.execute(
            "SELECT tag, thirst, overcharge FROM outlook "
            "WHERE sisters = ? AND thirst IS NOT NULL ORDER BY thirst LIMIT ? OFFSET ?",
            (sisters, most, max(0, count - most) // 2),
        ).fetchall()
        return [Drinks(*row) for row in rows]

    def judge_beside(self) -> None:
        """Batteries that are compared with their sisters are to be judged again."""
        self._connection.execute(
            "INSERT OR IGNORE INTO unjudged SELECT tag FROM outlook WHERE thirst IS NOT NULL"
        )

    def odd_ones(self, sisters: str, most: int) -> dict[str, dict[str, Any]]:
        """Batteries of one kind with a round that does not go with those before, oddest first,
        with what is kept of it."""
        rows = self._connection.execute(
            "SELECT tag, json_extract(content, '$.cells.odd') FROM outlook WHERE sisters = ? "
            "AND instr(content, '\"odd\":') > 0 "
            "AND json_extract(content, '$.cells.odd.odds') IS NOT NULL "
            "ORDER BY json_extract(content, '$.cells.odd.odds'), tag LIMIT ?",
            (sisters, most),
        ).fetchall()
        return {tag: json.loads(kept) for tag, kept in rows}

    def keep_content(self, tag: str, content: dict[str, Any]) -> None:
        """Replaces what an asset's row holds besides its columns."""
        self._connection.execute(
            "UPDATE outlook SET content = ? WHERE tag = ?", (_compact(content), tag)
        )

    def judge_again(self, tag: str) -> None:
        """One asset is to be judged again: what is said of another concerns it."""
        self._connection.execute("INSERT OR IGNORE INTO unjudged VALUES (?)", (tag,))

    def notices(self, until: str, rank: int, most: int) -> list[Notice]:
        """What is to be told by ``until`` of one rank, the oldest first."""
        return self._notices(
            "WHERE rank = ? AND at <= ? ORDER BY at, code LIMIT ?", (rank, until, most)
        )

    def notices_with(self, rank: int, code: str, until: str, most: int) -> list[Notice]:
        """What is to be told by ``until`` of one rank and code, the oldest first."""
        return self._notices(
            "INDEXED BY notices_by_code WHERE rank = ? AND code = ? AND at <= ? ORDER BY at LIMIT ?",
            (rank, code, until, most),
        )

    def notices_of(self, tag: str) -> list[Notice]:
        """All that is or will be told of one asset, the gravest first."""
        return self._notices("WHERE tag = ? ORDER BY rank, at", (tag,))

    def tally(self, until: str) -> list[tuple[int, str, int]]:
        """(rank, code, how many) of everything to be told by ``until``: all there are, less the
        few that are told later."""
        rows = self._connection.execute(
            "SELECT rank, code, count - (SELECT count(*) FROM notices INDEXED BY notices_by_code "
            "WHERE rank = told.rank AND code = told.code AND at > ?) FROM told ORDER BY rank, code",
            (until,),
        ).fetchall()
        return [(rank, code, count) for rank, code, count in rows if count]

    def all_notices(self, until: str, codes: Sequence[str] = ()) -> list[Notice]:
        """Everything to be told by ``until``, of these codes (none: all)."""
        marks = ", ".join("?" for _ in codes)
        more = f" AND code IN ({marks})" if codes else ""
        return self._notices(f"WHERE at <= ?{more} ORDER BY at, tag, code", (until, *codes))

    def _notices(self, where: str, values: Sequence[Any]) -> list[Notice]:
        rows = self._connection.execute(
            f"SELECT tag, code, at, rank, sentence, cell FROM notices {where}", values
        ).fetchall()
        return [Notice(*row) for row in rows]

    def _rows(self, where: str, values: Sequence[Any]) -> list[Outlook]:
        rows = self._connection.execute(f"SELECT {_COLUMNS} FROM outlook {where}", values)
        return [Outlook(*(*row[:-1], json.loads(row[-1]))) for row in rows.fetchall()]


_COLUMNS = (
    "tag, kind, standing, ready_at, rested_since, volts, kilograms, sisters, thirst, overcharge, "
    "content"
)


def _compact(content: dict[str, Any]) -> str:
    return json.dumps(content, separators=(",", ":"), ensure_ascii=False)
