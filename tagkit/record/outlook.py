"""What the folded states mean for today: kept beside them, by whoever knows the site's settings.

The record only keeps it and asks it back quickly. ``unjudged`` names the assets whose state has
changed since; a job judges them again (tagkit.jobs.judging) before it asks.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

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
    content: dict[str, Any] = field(default_factory=dict)


class OutlookTables:
    """The tables, through a connection of the record's."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def unjudged(self, most: int) -> list[str]:
        """Assets to judge again."""
        rows = self._connection.execute("SELECT tag FROM unjudged LIMIT ?", (most,)).fetchall()
        return [tag for (tag,) in rows]

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

    def keep(self, tag: str, row: Outlook | None, notices: Iterable[Notice]) -> None:
        """Replaces what is kept of an asset; None: there is nothing to keep."""
        execute = self._connection.execute
        execute("DELETE FROM notices WHERE tag = ?", (tag,))
        if row is None:
            execute("DELETE FROM outlook WHERE tag = ?", (tag,))
        else:
            execute(
                "INSERT OR REPLACE INTO outlook VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    row.tag, row.kind, row.standing, row.ready_at, row.rested_since, row.volts,
                    row.kilograms, row.sisters, row.thirst,
                    _compact(row.content),
                ),
            )  # fmt: skip
        for one in notices:
            execute(
                "INSERT OR REPLACE INTO notices VALUES (?, ?, ?, ?, ?, ?)",
                (one.tag, one.code, one.cell, one.at, one.rank, one.sentence),
            )
        execute("DELETE FROM unjudged WHERE tag = ?", (tag,))

    def row(self, tag: str) -> Outlook | None:
        """What is kept of an asset."""
        found = self._rows("WHERE tag = ?", (tag,))
        return found[0] if found else None

    def batteries(
        self,
        volts: tuple[float, float],
        standings: Sequence[str],
        kilograms: tuple[float, float] | None = None,
        most: int = 50,
    ) -> list[Outlook]:
        """Batteries between these voltages with these standings, rested longest first.

        ``kilograms`` leaves out those whose weight is known and outside.
        """
        marks = ", ".join("?" for _ in standings)
        sql = f"WHERE volts BETWEEN ? AND ? AND standing IN ({marks})"
        values: list[Any] = [*volts, *standings]
        if kilograms:
            sql += " AND (kilograms IS NULL OR kilograms BETWEEN ? AND ?)"
            values += kilograms
        sql += " ORDER BY rested_since IS NULL, rested_since, tag LIMIT ?"
        return self._rows(sql, (*values, most))

    def counts(self, now: str) -> dict[str, int]:
        """How many batteries there are by standing; charged ones are split at ``now``."""
        rows = self._connection.execute(
            "SELECT standing, ready_at IS NOT NULL AND ready_at <= ?, count(*) FROM outlook "
            "WHERE kind = 'B' GROUP BY 1, 2",
            (now,),
        ).fetchall()
        found: dict[str, int] = {}
        for standing, ready, count in rows:
            name = ("ready" if ready else "resting") if standing == "charged" else standing
            found[name] = found.get(name, 0) + count
        return found

    def voltages(self) -> dict[float, int]:
        """How many batteries there are by nominal voltage."""
        return dict(
            self._connection.execute(
                "SELECT volts, count(*) FROM outlook WHERE volts IS NOT NULL GROUP BY volts"
            ).fetchall()
        )

    def standings(self, volts: float) -> dict[str, int]:
        """How many batteries of one voltage there are by standing."""
        return dict(
            self._connection.execute(
                "SELECT standing, count(*) FROM outlook WHERE volts BETWEEN ? AND ? "
                "AND volts IS NOT NULL GROUP BY standing",
                (volts - 0.01, volts + 0.01),
            ).fetchall()
        )

    def thirsts(self, sisters: str, most: int = 61) -> dict[str, tuple[float, float | None]]:
        """What batteries of one kind drink: litres a day, and the share of overcharge where that
        is known. Of many only those around the median of the litres, which have the same median
        as all, and whose overcharge is the usual one."""
        count = self._connection.execute(
            "SELECT count(*) FROM outlook WHERE sisters = ? AND thirst IS NOT NULL", (sisters,)
        ).fetchone()[0]
        rows = self._connection.execute(
            "SELECT tag, thirst, json_extract(content, '$.overcharge') FROM outlook "
            "WHERE sisters = ? AND thirst IS NOT NULL ORDER BY thirst LIMIT ? OFFSET ?",
            (sisters, most, max(0, count - most) // 2),
        ).fetchall()
        return {tag: (litres, overcharge) for tag, litres, overcharge in rows}

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
        rows = self._connection.execute(
            "SELECT tag, code, at, rank, sentence, cell FROM notices "
            "WHERE rank = ? AND at <= ? ORDER BY at, code LIMIT ?",
            (rank, until, most),
        ).fetchall()
        return [Notice(*row) for row in rows]

    def notices_of(self, tag: str) -> list[Notice]:
        """All that is or will be told of one asset, the gravest first."""
        rows = self._connection.execute(
            "SELECT tag, code, at, rank, sentence, cell FROM notices WHERE tag = ? "
            "ORDER BY rank, at",
            (tag,),
        ).fetchall()
        return [Notice(*row) for row in rows]

    def tally(self, until: str) -> list[tuple[int, str, int]]:
        """(rank, code, how many) of everything to be told by ``until``."""
        return [
            (rank, code, count)
            for rank, code, count in self._connection.execute(
                "SELECT rank, code, count(*) FROM notices INDEXED BY notices_by_code "
                "WHERE at <= ? GROUP BY rank, code",
                (until,),
            ).fetchall()
        ]

    def all_notices(self, until: str, codes: Sequence[str] = ()) -> list[Notice]:
        """Everything to be told by ``until``, of these codes (none: all)."""
        marks = ", ".join("?" for _ in codes)
        more = f" AND code IN ({marks})" if codes else ""
        rows = self._connection.execute(
            f"SELECT tag, code, at, rank, sentence, cell FROM notices WHERE at <= ?{more} "
            "ORDER BY at, tag, code",
            (until, *codes),
        ).fetchall()
        return [Notice(*row) for row in rows]

    def _rows(self, where: str, values: Sequence[Any]) -> list[Outlook]:
        rows = self._connection.execute(
            "SELECT tag, kind, standing, ready_at, rested_since, volts, kilograms, sisters, "
            f"thirst, content FROM outlook {where}",
            values,
        ).fetchall()
        return [_outlook(*row) for row in rows]


def _compact(content: dict[str, Any]) -> str:
    return json.dumps(content, separators=(",", ":"), ensure_ascii=False)


def _outlook(*row: Any) -> Outlook:
    """A row as read."""
    tag, kind, standing, ready_at, rested, volts, kilograms, sisters, thirst, content = row
    return Outlook(
        tag, kind, standing, ready_at, rested, volts, kilograms, sisters, thirst,
        json.loads(content),
    )  # fmt: skip
