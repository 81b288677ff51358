"""Hybrid logical clock: wall time where it can be trusted, order where it can't.

A clock value is one whole number, ``milliseconds since 1970 << 16 | counter``. It never runs
behind what the record has already seen, so an event always sorts after the ones its writer
knew, even when the computer's clock was set back by hours. The counter begins with what the
clock has beyond whole milliseconds, so that writers who make their events ready side by side
give them the order of their turns. In the bytes of an event it stands
as text, ``0190f2c1a2b3-0004``, because not every JSON reader keeps 64 bits.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from tagkit.errors import WrongInput

Clock = Callable[[], datetime]
"""Gives the present time, with a time zone."""

TOLERANCE = timedelta(minutes=5)
"""How far clocks of honest stations may be apart."""

TOLERANCE_MS = 300_000
WILD_JUMP_MS = 86_400_000
"""A leap of the clock that can only be a wrongly set date, once the date is back before it."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_TEXT = re.compile(r"([0-9a-f]{12})-([0-9a-f]{4})")


def system_clock() -> datetime:
    """The computer's own clock, in UTC."""
    return datetime.now(UTC)


def milliseconds(moment: datetime) -> int:
    """Whole milliseconds since 1970; WrongInput for a time without a zone."""
    if moment.tzinfo is None:
        raise WrongInput(
            f"the time {moment:%Y-%m-%d %H:%M} has no time zone", "Give it with its offset from UTC"
        )
    return (moment - _EPOCH) // timedelta(milliseconds=1)


def time_at(ms: int) -> datetime:
    """The UTC time so many milliseconds after 1970."""
    return _EPOCH + timedelta(milliseconds=ms)


def time_text(moment: datetime) -> str:
    """ISO 8601 with milliseconds and the offset the time came with."""
    return moment.isoformat(timespec="milliseconds")


def utc_text(ms: int) -> str:
    """ISO 8601 in UTC; such texts sort as the times do."""
    return time_text(time_at(ms))


def read_time(text: str) -> datetime:
    """The time that :func:`time_text` or :func:`utc_text` wrote; ValueError for anything else."""
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(f"no offset in {text}")
    return moment


def reading(ms: int, counter: int = 0) -> int:
    """The clock value of a time."""
    return (ms << 16) | counter


def clock_text(value: int) -> str:
    """A clock value as it stands in the bytes of an event."""
    return f"{value >> 16:012x}-{value & 0xFFFF:04x}"


def read_clock(text: str) -> int:
    """The clock value that :func:`clock_text` wrote; ValueError for anything else."""
    match = _TEXT.fullmatch(text)
    if not match:
        raise ValueError(f"not a clock value: {text!r}")
    return reading(int(match[1], 16), int(match[2], 16))


def reading_of(moment: datetime) -> int:
    """The clock value of a time, finer than its millisecond."""
    return (moment - _EPOCH) // _MICROSECOND * 65_536 // 1000


_MICROSECOND = timedelta(microseconds=1)


def tick(latest: int, now: int) -> int:
    """The clock value of an event written now, after everything up to ``latest``."""
    return max(latest + 1, now)
