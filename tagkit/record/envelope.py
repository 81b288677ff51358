"""An event: what the record keeps of one thing that happened.

The bytes of an event are canonical JSON (sorted keys, no blanks, UTF-8). Its hash is SHA-256
over exactly the stored bytes; they hold the hash of the event before it in the same chain, so
a chain can't be altered in the middle. A chain belongs to one (site, station, epoch); the
epoch's name is taken from its public key, so nobody else can write under it. The id of an
event is the epoch and its place in the chain: ``mfzwizlt4sq3xkpa-17``.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from hashlib import sha256
from typing import Any, Generic, TypeVar

from tagkit.assets.legible import LONGEST
from tagkit.record.clock import clock_text, milliseconds, read_clock, read_time, utc_text

ENVELOPE_VERSION = 1
LARGEST_EVENT = 1_000_000
"""Bytes; anything larger is not even read."""

LARGEST_WRITTEN = 100_000
"""Bytes that a station writes at most; a change with all its lines takes 6,000."""

MOST_TAGS = 200
"""Assets that an event names at most."""

LONGEST_NAME = 80
"""Letters of a kind, a station, a person's code."""

DEEPEST = 40
"""Lists and objects within each other; what nests deeper could not be read everywhere."""

FIRST_MS, LAST_MS = -2_208_988_800_000, 221_845_392_000_000
"""Milliseconds from 1970 to 1900 and to the year 9000: times that may be moved to any zone."""

NO_EVENT = "0" * 64
"""What the first event of a chain names as the one before it."""


class MalformedEvent(ValueError):
    """Bytes that are not an event; says why."""


_Value = TypeVar("_Value")


class _kept(Generic[_Value]):
    """functools.cached_property without the lock that Python 3.11's takes: every event that is
    read or written passes here."""

    def __init__(self, compute: Callable[[Any], _Value]) -> None:
        self._compute = compute
        self.__doc__ = compute.__doc__

    def __get__(self, event: Any, owner: type | None = None) -> _Value:
        value = event.__dict__[self._compute.__name__] = self._compute(event)
        return value


@dataclass(frozen=True)
class Event:
    """One event, as read from its bytes.

    ``body`` is in the newest version this program knows; ``version`` is the one it was written
    in. ``clock`` is the writer's, ``effective`` the one it is ordered by (see order.py).
    ``after`` names events of other chains that come before this one although their clocks say
    otherwise.
    """

    site: str
    station: str
    epoch: str
    sequence: int
    happened_at: str
    recorded_at: str
    clock: int
    by: str
    kind: str
    version: int
    tags: tuple[str, ...]
    body: dict[str, Any]
    seen: dict[str, str]
    previous: str
    after: tuple[str, ...] = ()
    effective: int = 0
    voided: bool = False
    known: bool = True
    """Whether this program understands the kind and version."""
    raw: bytes = field(default=b"", repr=False)
    signature: bytes = field(default=b"", repr=False)

    @_kept
    def id(self) -> str:
        """Epoch and sequence."""
        return event_id(self.epoch, self.sequence)

    @_kept
    def hash(self) -> str:
        """SHA-256 of the stored bytes, hexadecimal."""
        return hash_of(self.raw)

    @property
    def happened(self) -> datetime:
        """When it happened, as said by whoever recorded it."""
        return read_time(self.happened_at)

    @property
    def recorded(self) -> datetime:
        """When it was recorded, by the computer's clock."""
        return read_time(self.recorded_at)

    @_kept
    def moment(self) -> str:
        """When it counts as having happened, UTC text.

        An event recorded as it happened takes the time it is ordered by, so that a clock set
        back does not make it look old and a wild one does not make it win for ever. One that
        was given a time of its own keeps it, but is never later than its place in the order.
        """
        ordered = self.effective >> 16
        if self.happened_at == self.recorded_at:
            return utc_text(ordered)
        return utc_text(min(ordered, milliseconds(self.happened)))


def event_id(epoch: str, sequence: int) -> str:
    """The id of an event."""
    return f"{epoch}-{sequence}"


def split_id(identity: str) -> tuple[str, int] | None:
    """Epoch and sequence of an id, or None for what is not one."""
    epoch, dash, digits = identity.rpartition("-")
    if not (epoch and dash and digits.isascii() and digits.isdigit() and len(digits) < 16):
        return None
    return epoch, int(digits)


def hash_of(raw: bytes) -> str:
    """SHA-256 over stored bytes, hexadecimal."""
    return sha256(raw).hexdigest()


def canonical(value: Mapping[str, Any]) -> bytes:
    """Canonical JSON. ValueError for figures JSON can't hold, TypeError for foreign objects."""
    return _ENCODER.encode(value).encode("utf-8")


_ENCODER = json.JSONEncoder(
    sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
)


def new_event(content: Mapping[str, Any], effective: int, raw: bytes, signature: bytes) -> Event:
    """What Event(...) gives, in a third of the time: every event that is read or written passes
    here. ``content`` has the values of the packed fields."""
    event = object.__new__(Event)
    event.__dict__.update(
        content,
        effective=effective,
        voided=False,
        known=True,
        raw=raw,
        signature=signature,
    )
    return event


def to_bytes(event: Event) -> bytes:
    """The bytes to be stored, hashed and signed."""
    return pack(vars(event))


def pack(content: Mapping[str, Any]) -> bytes:
    """The bytes of an event from the values of its fields."""
    return canonical(
        {name: content[name] for name in _PACKED}
        | {"envelope": ENVELOPE_VERSION, "clock": clock_text(content["clock"])}
    )


def from_bytes(raw: bytes, signature: bytes = b"") -> Event:
    """The event in ``raw``, its body as written; MalformedEvent says what is wrong."""
    return _event(_content(raw), raw, signature)


def strictly_from_bytes(raw: bytes, signature: bytes = b"") -> Event:
    """The event in ``raw`` that someone else wrote; MalformedEvent says what is wrong.

    Only the bytes that a station would have written are taken: JSON has other ways to write the
    same, and some things that can be written and not be kept (half a character, no number).
    """
    if len(raw) > LARGEST_WRITTEN:
        raise MalformedEvent(f"no station writes {len(raw):,} bytes")
    content = _content(raw)
    event = _event(content, raw, signature)
    if problem := _beyond_measure(event, raw):
        raise MalformedEvent(problem)
    # Where fewer lists and objects are opened in all, none can nest that deep.
    if raw.count(b"{") + raw.count(b"[") > DEEPEST and _nests_deeper(content, DEEPEST):
        raise MalformedEvent(f"lists and objects nest deeper than {DEEPEST}")
    try:
        same = canonical(content) == raw
    except (ValueError, RecursionError) as error:
        raise MalformedEvent(f"it can't be written again: {error}") from None
    if not same:
        raise MalformedEvent("its bytes are not written as a station writes them")
    return event


def _beyond_measure(event: Event, raw: bytes) -> str | None:
    """What of it is more than a station writes: whoever has keys could make a battery's state so
    large that recording anything of it takes seconds."""
    if len(event.tags) > MOST_TAGS:
        return f"it names {len(event.tags)} assets"
    if max(map(len, (event.kind, event.station, event.by))) > LONGEST_NAME:
        return "its kind, station or person is no short text"
    # A shorter event has no longer text.
    longest = _longest_text(event.body) if len(raw) > LONGEST else 0
    return f"a text of {longest} characters is too long" if longest > LONGEST else None


def _longest_text(value: Any) -> int:
    longest, level = 0, [value]
    while level:
        one = level.pop()
        if isinstance(one, str):
            longest = max(longest, len(one))
        elif isinstance(one, dict):
            level += [*one, *one.values()]
        elif isinstance(one, list):
            level += one
    return longest


def _content(raw: bytes) -> dict[str, Any]:
    if len(raw) > LARGEST_EVENT:
        raise MalformedEvent(f"{len(raw)} bytes are too many")
    try:
        content = json.loads(raw.decode())
    except (ValueError, RecursionError) as error:
        raise MalformedEvent(f"not JSON: {error}") from None
    if not isinstance(content, dict):
        raise MalformedEvent("not a JSON object")
    return content


def _event(content: dict[str, Any], raw: bytes, signature: bytes) -> Event:
    try:
        return _checked(content, raw, signature)
    except (KeyError, ValueError, OverflowError) as error:
        raise MalformedEvent(f"{type(error).__name__}: {error}") from None


def _nests_deeper(value: Any, most: int) -> bool:
    level = [value]
    for _ in range(most):
        level = [
            inner
            for one in level
            if isinstance(one, dict | list)
            for inner in (one.values() if isinstance(one, dict) else one)
        ]
        if not level:
            return False
    return True


def _checked(content: dict[str, Any], raw: bytes, signature: bytes) -> Event:
    for name, kind in _SHAPE.items():
        # Exactly: what JSON gives has no subclasses but bool, which is no number here.
        if type(content[name]) is not kind:
            raise ValueError(f"“{name}” is not {kind.__name__}")
    texts = [*content["tags"], *content["after"], *content["seen"].values()]
    if not all(isinstance(item, str) and len(item) <= 80 for item in texts):
        raise ValueError("tags and ids must be short texts")
    if content["sequence"] < 1 or content["sequence"] > 1 << 53 or content["version"] < 1:
        raise ValueError("sequence and version count from 1")
    for name in ("happened_at", "recorded_at"):
        if name == "recorded_at" and content[name] == content["happened_at"]:
            break  # recorded as it happened, as most are
        if not FIRST_MS < milliseconds(read_time(content[name])) < LAST_MS:
            raise ValueError(f"“{name}” is at an end of the calendar")
    clock = read_clock(content["clock"])
    if clock >> 16 >= LAST_MS:
        raise ValueError("“clock” is at the end of the calendar")
    fields = {name: content[name] for name in _PACKED}
    fields["clock"] = clock
    fields["tags"] = tuple(dict.fromkeys(content["tags"]))
    fields["after"] = tuple(content["after"])
    return new_event(fields, 0, raw, signature)


_SHAPE: dict[str, type] = {
    "site": str, "station": str, "epoch": str, "sequence": int, "happened_at": str,
    "recorded_at": str, "clock": str, "by": str, "kind": str, "version": int, "tags": list,
    "body": dict, "seen": dict, "after": list, "previous": str,
}  # fmt: skip

_PACKED = tuple(_SHAPE)
