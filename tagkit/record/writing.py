"""One writing: events that go into the record together or not at all.

The lock is taken as late as may be: when something of the record is asked for, or at the end. What
was appended until then is made ready before; see draft.py.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any, Protocol

from tagkit.assets.legible import all_legible
from tagkit.assets.tag import Kind, Tag, serials_after, tag_for
from tagkit.errors import NeedsAnswer, WrongInput
from tagkit.record.ahead import snapshot
from tagkit.record.bodies import SHAPES, completed, tags_in
from tagkit.record.clock import (
    TOLERANCE_MS,
    Clock,
    milliseconds,
    reading,
    reading_of,
    tick,
    time_text,
)
from tagkit.record.draft import (
    CERTAIN_ONLY,
    NEVER_SEEN,
    Chain,
    Draft,
    Wanted,
    fulfil,
    give_up,
    may_begin,
    promise,
)
from tagkit.record.envelope import (
    FIRST_MS,
    LARGEST_WRITTEN,
    MOST_TAGS,
    NO_EVENT,
    Event,
    new_event,
    pack,
    split_id,
)
from tagkit.record.folder import EVENT_COLUMNS, read_event
from tagkit.record.journal import Beginning, Journal, beginning, find_event
from tagkit.record.keys import StationKey, load_key, new_key, ready_to_sign
from tagkit.record.order import next_clock
from tagkit.record.state import AssetState
from tagkit.record.store import Connection
from tagkit.record.words import describe


class Overtaken(NeedsAnswer):
    """Someone recorded something about these assets after the person last looked."""

    def __init__(self, tag: str, events: Sequence[Event]) -> None:
        self.tag = tag
        self.events = tuple(events)
        deeds = "; ".join(describe(event) for event in events[:3])
        more = f"; and {len(events) - 3} more" if len(events) > 3 else ""
        super().__init__(
            f"someone was faster: {deeds}{more}" if events else "the record of it has changed",
            "Look at it again, then repeat what still applies",
            tag,
        )


class Lock(Protocol):
    """The write lock, as a writing takes it."""

    def come_forward(self) -> None:
        """Waits until one is the next to have it."""
        ...

    def take(self) -> None:
        """Begins the transaction."""
        ...

    def begun(self, here: Beginning) -> None:
        """Told what the record holds then."""
        ...

    def is_copy(self, here: Beginning) -> bool:
        """Whether the record takes itself for another file."""
        ...


class Writing:
    """What :meth:`tagkit.record.record.Record.writing` gives; valid until its block ends."""

    def __init__(
        self, connection: Connection, site: str, keys: Path, known_keys: dict[str, StationKey],
        known_chains: dict[str, int], clock: Clock, by: str, station: str, at: datetime | None,
        notice: Callable[[str], None], lock: Lock,
    ) -> None:  # fmt: skip
        """Everything that can be known before the lock is taken; :meth:`certain` goes on."""
        ready_to_sign()
        self._lock = lock
        self._journal: Journal | None = None
        self._draft: Draft | None = None
        self._known_chains = known_chains
        self._connection = connection
        self._site = site
        self._keys = keys
        self._known_keys = known_keys
        self._clock = clock
        self._by = _person(by)
        self._station = _station(station)
        self._at = at
        self._notice = notice
        self._chains: dict[str, Chain] = {}
        self._written: set[str] = set()
        self._latest = -1
        self._latest_known: int | None = None

    @property
    def journal(self) -> Journal:
        """The journal, with the lock held."""
        self.certain()
        assert self._journal
        return self._journal

    def certain(self) -> None:
        """Takes the lock, if it is not held yet, and puts in place what was made ready."""
        if self._journal:
            return
        draft = self._draft
        if draft:
            draft.folder.write_out()
        self._lock.take()
        now_ms = milliseconds(self._clock())
        here = beginning(self._connection, now_ms, draft.chain.number if draft else 0)
        if not draft or draft.identity != here.identity:
            self._lock.begun(here)
        right = draft is not None and draft.still_right(here)
        folder = draft.folder if draft and right else None
        self._journal = Journal(self._connection, here.n, self._site, folder)
        self._latest_known = here.latest
        if here.apart:
            self._latest_known = None
            self._journal.release_apart(now_ms)
        if draft and right:
            self._put(draft, self._journal)
        elif draft:
            for seen in draft.required:
                self.require_unchanged(seen)
            for wanted, _, made in draft.ready:
                fulfil(made, self._write_certain(wanted))

    def _put(self, draft: Draft, journal: Journal) -> None:
        self._chains[draft.station] = draft.chain
        self._latest = self._latest_known = max(draft.latest, self._latest_known or 0)
        for _, event, made in draft.ready:
            journal.put_own(draft.chain.number, event)
            self._written.add(event.id)
            fulfil(made, event)

    def finish(self) -> None:
        """Writes what is still to be written."""
        self.certain()
        self.flush()

    def give_up(self) -> None:
        """What was made ready will not be written."""
        if self._draft and not self._journal:
            give_up([made for _, _, made in self._draft.ready])

    def append(
        self,
        kind: str,
        tags: Sequence[Tag | str],
        body: Mapping[str, Any],
        seen: Mapping[str, str] | None = None,
        *,
        at: datetime | None = None,
        by: str | None = None,
        station: str | None = None,
    ) -> Event:
        """Adds one event; ``at``, ``by`` and ``station`` override those of the writing.

        ``seen`` names, for each asset, the last event the person knew of
        (``AssetState.last_event``; "" for none). It is kept in the event, and Overtaken is
        raised when something else has been recorded since. Assets named in the body are added
        to ``tags``. What can't be seen is left out of texts (see ``legible``). Raises WrongInput
        for a time in the future or a text that is too long, ValueError for a kind or body that
        does not exist.
        """
        body = completed(kind, all_legible(dict(body)))
        if kind == "epoch_started":
            raise ValueError("epochs start by themselves")
        wanted = Wanted(
            self._station if station is None else _station(station),
            self._by if by is None else _person(by),
            kind,
            tuple(dict.fromkeys([*map(str, tags), *tags_in(kind, body)])),
            body,
            {str(tag): last for tag, last in (seen or {}).items()},
            at or self._at,
        )
        return self._make_ready(wanted) or self._write_certain(wanted)

    def _make_ready(self, wanted: Wanted) -> Event | None:
        """What stands for the event as long as the lock is not taken; None where it has to be."""
        if wanted.kind in CERTAIN_ONLY:
            return None
        draft = self._drafted(wanted.station)
        if not draft:
            return None
        now = self._clock()
        with snapshot(self._connection):
            if not draft.knows(wanted.seen):
                return None
            clock = max(draft.latest + 1, reading_of(now))
            event = self._made(draft.chain, wanted, now, clock, ())
            made = draft.add(wanted, event)
        promise(made, self.certain)
        return made

    def _drafted(self, station: str) -> Draft | None:
        """What is made ready, for one station; None where nothing can be."""
        number = self._known_chains.get(station)
        if self._journal or number is None:
            return None
        if not self._draft:
            self._lock.come_forward()
            self._draft = self._new_draft(station, number)
        return self._draft if self._draft and self._draft.station == station else None

    def _new_draft(self, station: str, number: int) -> Draft | None:
        now = self._clock()
        here = beginning(self._connection, milliseconds(now), number)
        row = self._connection.execute(
            "SELECT epoch FROM chains WHERE chain = ? AND station = ?", (number, station)
        ).fetchone()
        key = row and self._known_keys.get(row[0])
        if not key or not here.end or not may_begin(here, reading_of(now)):
            return None
        if self._lock.is_copy(here):
            return None
        return Draft(self._connection, station, Chain(number, row[0], *here.end, key), here)

    def _write_certain(self, wanted: Wanted) -> Event:
        self.certain()
        if wanted.seen:
            self.require_unchanged(wanted.seen)
        voided = self._voided(wanted.kind, wanted.body)
        wanted = replace(wanted, tags=tuple(dict.fromkeys([*wanted.tags, *voided])))
        return self._write(self._chain(wanted.station), wanted)

    def _voided(self, kind: str, body: Mapping[str, Any]) -> tuple[str, ...]:
        """The assets of the event that this one cancels: it must name them, see ``cancels``."""
        parts = split_id(str(body["event"])) if kind == "voided" else None
        target = find_event(self._connection, *parts) if parts else None
        return target.tags if target else ()

    def issue(self, kind: Kind) -> Tag:
        """The next number of this kind. Numbers are never given out twice."""
        self.certain()
        row = self._connection.execute(
            "SELECT last FROM serials WHERE kind = ?", (kind.value,)
        ).fetchone()
        # A counter that was set back from outside must not give a number of another asset.
        free = (
            serial
            for serial in serials_after(kind, self._site, row[0] if row else 0)
            if self.state(tag_for(kind, self._site, serial)) is None
        )
        serial = next(free, None)
        if serial is None:
            raise WrongInput(
                f"all numbers for {kind.noun} are given out", "Begin a new site code for them"
            )
        self._connection.execute(
            "INSERT OR REPLACE INTO serials VALUES (?, ?)", (kind.value, serial)
        )
        return tag_for(kind, self._site, serial)

    def state(self, tag: Tag | str) -> AssetState | None:
        """The present state, with what this writing has added; None for an unknown asset."""
        return self.journal.folder.state(str(tag))

    def require_unchanged(self, seen: Mapping[str, str]) -> None:
        """Raises Overtaken when an asset has events that the person did not know of.

        What this writing itself has added does not count.
        """
        draft = self._drafted(self._station)
        if draft:
            with snapshot(self._connection):
                if draft.knows(seen):
                    return
        self.certain()
        for tag, last in seen.items():
            tag = str(tag)
            state = self.state(tag)
            if (state.last_event if state else NEVER_SEEN) == last:
                continue
            unseen = self._unseen(tag, last)
            if unseen is None or unseen:
                raise Overtaken(tag, unseen or ())

    def flush(self) -> None:
        """Writes states and heads, so that the record's own queries see them."""
        self.journal.folder.flush()
        for chain in self._chains.values():
            self._connection.execute(
                "UPDATE chains SET head_sequence = ?, head_hash = ? WHERE chain = ?",
                (chain.sequence, chain.hash, chain.number),
            )

    def start_epochs(self, stations: Sequence[str]) -> None:
        """Begins a new epoch for each station that has none to write to."""
        for station in stations:
            self._chain(station)

    def _unseen(self, tag: str, last: str) -> list[Event] | None:
        """The events after ``last``, oldest first; None when ``last`` is not one of them."""
        rows = self._connection.execute(
            f"SELECT {EVENT_COLUMNS} FROM event_tags t JOIN events e ON e.n = t.n "
            "JOIN chains c ON c.chain = e.chain WHERE t.tag = ? "
            "ORDER BY t.effective DESC, t.clock DESC, c.name DESC, e.sequence DESC",
            (tag,),
        )
        unseen: list[Event] = []
        for row in rows:
            event = read_event(*row)
            if event.id == last:
                return unseen[::-1]
            if event.id not in self._written:
                unseen.append(event)
            if len(unseen) > 100:
                break
        return unseen[::-1] if last == NEVER_SEEN or unseen else None

    def _chain(self, station: str) -> Chain:
        if station in self._chains:
            return self._chains[station]
        row = self._connection.execute(
            "SELECT chain, epoch, head_sequence, head_hash FROM chains "
            "WHERE station = ? AND site = ? AND writable = 1",
            (station, self._site),
        ).fetchone()
        if row:
            key = self._known_keys.get(row[1]) or load_key(self._keys, row[1])
            if key:
                self._known_keys[row[1]] = key
                self._known_chains[station] = row[0]
                self._chains[station] = Chain(row[0], row[1], row[2], row[3], key)
                return self._chains[station]
            self._connection.execute("UPDATE chains SET writable = 0 WHERE chain = ?", (row[0],))
            self._notice(f"The key of station “{station}” is missing; it goes on under a new one.")
        return self._start_epoch(station, "key missing" if row else self._reason(station))

    def _reason(self, station: str) -> str:
        earlier = self._connection.execute(
            "SELECT count(*) FROM chains WHERE station = ? AND site = ?", (station, self._site)
        ).fetchone()[0]
        row = self._connection.execute(
            "SELECT value FROM meta WHERE name = 'epoch_reason'"
        ).fetchone()
        return str(row[0]) if earlier and row else "new"

    def _start_epoch(self, station: str, reason: str) -> Chain:
        self.flush()
        cites = [
            {"station": name, "epoch": epoch, "sequence": sequence, "hash": head}
            for name, epoch, sequence, head in self._connection.execute(
                "SELECT station, epoch, head_sequence, head_hash FROM chains "
                "WHERE head_sequence > 0 ORDER BY name"
            )
        ]
        key = new_key(self._keys)
        self._known_keys[key.epoch] = key
        number = (self._connection.execute("SELECT max(chain) FROM chains").fetchone()[0] or 0) + 1
        add_chain(self._connection, number, self._site, station, key.epoch, key.public, own=True)
        chain = self._chains[station] = Chain(number, key.epoch, 0, NO_EVENT, key)
        self._known_chains[station] = number
        body = {"public_key": key.public.hex(), "reason": reason, "cites": cites}
        self._write(chain, Wanted(station, self._by, "epoch_started", (), body, {}, None))
        return chain

    def _write(self, chain: Chain, wanted: Wanted) -> Event:
        now = self._clock()
        clock, cited = self._next_clock(reading_of(now))
        event = self._made(chain, wanted, now, clock, cited)
        event = self.journal.add_own(chain.number, event, leaps=bool(cited))
        chain.sequence, chain.hash = event.sequence, event.hash
        self._written.add(event.id)
        return event

    def _made(
        self, chain: Chain, wanted: Wanted, now: datetime, clock: int, cited: tuple[str, ...]
    ) -> Event:
        """The event as it goes on a chain, signed."""
        at = wanted.at
        if at is not None and milliseconds(at) > milliseconds(now) + TOLERANCE_MS:
            raise WrongInput(
                f"{at:%Y-%m-%d %H:%M} is in the future",
                "Check the time given, and this computer's clock",
                "--at",
            )
        if at is not None and milliseconds(at) <= FIRST_MS:
            raise WrongInput(f"{at:%Y-%m-%d %H:%M} is too long ago", "Check the year", "--at")
        recorded_at = time_text(now)
        content: dict[str, Any] = {
            "site": self._site,
            "station": wanted.station,
            "epoch": chain.epoch,
            "sequence": chain.sequence + 1,
            "happened_at": time_text(at) if at else recorded_at,
            "recorded_at": recorded_at,
            "clock": clock,
            "by": wanted.by,
            "kind": wanted.kind,
            "version": SHAPES[wanted.kind].version,
            "tags": wanted.tags,
            "body": wanted.body,
            "seen": wanted.seen,
            "previous": chain.hash,
            "after": tuple(one for one in cited if not one.startswith(f"{chain.epoch}-")),
        }
        raw = pack(content)
        if len(raw) > LARGEST_WRITTEN or len(wanted.tags) > MOST_TAGS:
            raise WrongInput(
                f"this is too much for one entry ({len(raw):,} bytes, {len(wanted.tags)} assets)",
                f"Record it in parts: at most {LARGEST_WRITTEN:,} bytes and {MOST_TAGS} assets each",
            )
        return new_event(content, clock, raw, chain.key.sign(raw))

    def _next_clock(self, now: int) -> tuple[int, tuple[str, ...]]:
        if 0 <= self._latest <= now + _ONE_MS:
            cited: tuple[str, ...] = ()
            clock = tick(self._latest, now)
        else:
            clock, cited = next_clock(self._connection, now, self.flush, self._latest_known)
        self._latest = clock
        self._latest_known = None if cited else clock
        return clock, cited


def add_chain(
    connection: Connection, number: int, site: str, station: str, epoch: str, public_key: bytes,
    *, own: bool, whole: bool = True,
) -> None:  # fmt: skip
    """Enters a chain without events; not ``whole``: only what followed assets need will come."""
    connection.execute(
        "INSERT INTO chains VALUES (?, ?, ?, ?, ?, ?, ?, 0, ?, ?)",
        (
            number, site, station, epoch, "\x1f".join((site, station, epoch)), public_key,
            int(own), NO_EVENT, int(whole),
        ),
    )  # fmt: skip


def _person(by: str) -> str:
    code = by.strip()
    if not code or len(code) > 40 or not code.isprintable():
        raise WrongInput(
            "it is not said who does this" if not code else f"“{by}” is not a person's code",
            "Give the code of the person, like --by TS",
            "--by",
        )
    return code


def _station(name: str) -> str:
    station = name.strip()
    if not station or len(station) > 40 or not station.isprintable():
        raise WrongInput(
            f"“{name}” is not a station's name", "Use 1 to 40 letters, digits and blanks",
            "--station",
        )  # fmt: skip
    return station


_ONE_MS = reading(1)
