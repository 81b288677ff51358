"""Moments in messages are written for people."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from tagkit.rules.times import readable, readable_anywhere

STORED = "2031-05-04T22:20:03.430000+00:00"
EAST = timezone(timedelta(hours=2))


@pytest.mark.parametrize("moment", [STORED, datetime.fromisoformat(STORED)])
def test_a_moment_is_told_by_the_clock_on_the_wall(moment: str | datetime) -> None:
    assert readable(moment, EAST) == "2031-05-05 00:20"
    assert readable(moment, UTC) == "2031-05-04 22:20"


def test_where_no_clock_is_known_the_offset_is_told() -> None:
    assert readable_anywhere(STORED) == "22:20 on 2031-05-04 (UTC)"
    assert (
        readable_anywhere(datetime(2031, 5, 4, 14, 20, tzinfo=EAST))
        == "14:20 on 2031-05-04 (UTC+02:00)"
    )


def test_no_message_says_a_moment_as_the_record_keeps_it(project: Path) -> None:
    """A stored moment put into a sentence as it is: {state.place['since']}, {event.recorded_at}."""
    raw = re.compile(r"[\w ]{3,}\{[\w.]*(\[['\"](\w+_at|at|since)['\"]\]|\.(\w+ed_at|moment))\}")
    wrong = [
        f"{path.relative_to(project)}: {line.strip()}"
        for room in ("jobs", "station", "rules", "cli", "web", "record", "exchange")
        for path in sorted((project / "tagkit" / room).rglob("*.py"))
        for line in path.read_text(encoding="utf-8").splitlines()
        if raw.search(line)
    ]
    assert wrong == []
