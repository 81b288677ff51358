"""Events that are set apart: the clock of whoever wrote them is ahead, and they don't count yet."""

from __future__ import annotations

from tagkit.record.envelope import Event
from tagkit.record.folder import read_event
from tagkit.record.store import Connection


class Apart:
    """Those of one record, kept while there are no others: a verdict asks for them."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._mark: tuple[int, int | None] = (0, None)
        self._events: list[Event] = []

    def of(self, tag: str) -> list[Event]:
        """An asset's, in the order in which they arrived."""
        mark = self._connection.execute(
            "SELECT count(*), max(n) FROM events INDEXED BY events_apart WHERE apart = 1"
        ).fetchone()
        if mark != self._mark:
            rows = self._connection.execute(
                "SELECT raw, signature, effective, 0 FROM events INDEXED BY events_apart "
                "WHERE apart = 1 ORDER BY n"
            ).fetchall()
            self._mark, self._events = mark, [read_event(*row) for row in rows]
        return [event for event in self._events if tag in event.tags]
