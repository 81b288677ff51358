"""The record of a site: what happened, and from it what is so.

One SQLite file, ``record.db``, in the site's folder; the stations' private keys in ``keys/``
beside it. Open a Record per thread; several processes may have the same one open.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType

from tagkit.assets.tag import Kind, Tag, check_site_code
from tagkit.errors import WrongInput
from tagkit.record import queries
from tagkit.record import search as searching
from tagkit.record.apart import Apart
from tagkit.record.clock import Clock, milliseconds, system_clock
from tagkit.record.contradictions import Contradiction, contradictions, count_contradictions
from tagkit.record.envelope import Event, split_id
from tagkit.record.folder import states_are_current
from tagkit.record.follow import ExchangeNotes, follow
from tagkit.record.journal import Beginning, find_event
from tagkit.record.keys import StationKey
from tagkit.record.mending import mend, put_states
from tagkit.record.outlook import OutlookTables
from tagkit.record.queries import Head
from tagkit.record.queue import Queue
from tagkit.record.read_only import Bar, ReadOnly, bar_of, open_to_read, shadow
from tagkit.record.receive import Parcel, Received, receive
from tagkit.record.schema import migrate
from tagkit.record.search import Hits, Listed, Rested, Wanted
from tagkit.record.state import FOLD_VERSION, AssetState, Person
from tagkit.record.store import (
    FILE_NAME,
    KEYS_NAME,
    Connect,
    Connection,
    begin,
    come_forward,
    identity_of,
    make_durable,
    open_file,
    sqlite_connection,
    translated,
)
from tagkit.record.tidying import Tidying
from tagkit.record.writing import Overtaken, Writing

__all__ = ["Contradiction", "Head", "Overtaken", "Received", "Record", "Writing"]

LONGEST_HOLD = 0.02
"""Seconds that catching up keeps others from writing, at a time."""


class Record:
    """An open record. Close it, or use it as a context manager."""

    def __init__(
        self,
        directory: Path,
        connection: Connection,
        clock: Clock,
        read_only: ReadOnly | None = None,
    ) -> None:
        self.directory = directory
        self.path = directory / FILE_NAME
        self.notices: list[str] = []
        """What people should be told, like "this record is a copy"."""
        self._connection = connection
        self._read_only = read_only
        self._clock = clock
        self._keys: dict[str, StationKey] = {}
        self._chains: dict[str, int] = {}
        self._writing: Writing | None = None
        self._apart = Apart(connection)
        file = read_only.file if read_only else self.path
        self._queue = Queue(file)
        self._tidying = Tidying(file, connection)
        self.site: str = self._meta()["site"]
        if not states_are_current(connection):
            self.fold_again()

    @classmethod
    def create(cls, directory: Path, site: str, *, clock: Clock = system_clock) -> Record:
        """A new, empty record in ``directory``; WrongInput when there is one already."""
        code = check_site_code(site)
        path = directory / FILE_NAME
        if path.exists():
            raise WrongInput(
                "there is a record here already", "Choose another folder", str(directory)
            )
        with translated(path):
            directory.mkdir(parents=True, exist_ok=True)
            unfinished = new_file(path)
            try:
                with contextlib.closing(sqlite_connection(unfinished)) as connection:
                    migrate(connection)
                    connection.execute("BEGIN IMMEDIATE")
                    set_meta(connection, "site", code)
                    set_meta(connection, "fold_version", str(FOLD_VERSION))
                    set_meta(connection, "identity", identity_of(unfinished))
                    connection.execute("COMMIT")
                    make_durable(connection)
                take_place(unfinished, path)
            finally:
                unfinished.unlink(missing_ok=True)
        return cls.open(directory, clock=clock)

    @classmethod
    def open(
        cls,
        directory: Path,
        *,
        clock: Clock = system_clock,
        connect: Connect = sqlite_connection,
    ) -> Record:
        """The record in ``directory``; NotFound when there is none.

        One that this user can't write to is opened to be looked up; see :attr:`bar`.
        """
        path = directory / FILE_NAME
        if bar := bar_of(path) if path.is_file() else None:
            opened = open_to_read(path, bar)
            with translated(path):
                return cls(directory, opened.connection, clock, opened)
        connection = open_file(path, connect)
        with translated(path):
            return cls(directory, connection, clock)

    def close(self) -> None:
        """Lets go of the file."""
        self._tidying.close()
        self._queue.close()
        if self._read_only:
            self._read_only.close()
        else:
            self._connection.close()

    @property
    def bar(self) -> Bar | None:
        """Why nothing can be recorded here; None where it can."""
        return self._read_only.bar if self._read_only else None

    def check_writable(self) -> None:
        """WrongInput, saying why, where the record can only be looked up."""
        if self._read_only:
            raise self._read_only.bar.error()

    def outdated(self) -> bool:
        """Whether it must be opened anew: it can be written no more, or again, or can only be
        looked up and others have recorded something."""
        if self._read_only:
            return self._read_only.outdated()
        return bar_of(self.path) is not None

    def __enter__(self) -> Record:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    # Writing

    @contextlib.contextmanager
    def writing(self, by: str, station: str, at: datetime | None = None) -> Iterator[Writing]:
        """Begins to write: what is appended in the block is kept together or not at all.

        ``by`` is a person's code, ``station`` the name under which this computer writes, ``at``
        when it happened if not now. When the block ends without an exception everything is on
        the disk. Raises Busy when others keep the record from being written to.
        """
        if self._writing:
            raise RuntimeError("a writing is already open in this record")
        self.check_writable()
        with translated(self.path), contextlib.ExitStack() as stack:
            writing = Writing(
                self._connection, self.site, self.directory / KEYS_NAME, self._keys, self._chains,
                self._clock, by, station, at, self.notices.append, _Lock(self, stack),
            )  # fmt: skip
            self._writing = writing
            try:
                yield writing
                writing.finish()
            finally:
                self._writing = None
                self._queue.stand_back()
                writing.give_up()

    def receive(self, parcels: Iterable[Parcel | Event], *, parted: bool = False) -> Received:
        """Takes in events of other records: each is its stored bytes and their signature, or was
        read from them already by strictly_from_bytes.

        Events of a chain must come in order, going on where this record's copy ends; what is
        here already is passed over, what does not fit or is not rightly signed is refused, with
        the reason. The write lock is held for moments only.

        ``parted``: chains that are new here come in part only, with what followed assets need,
        in any order; see follow.py.
        """
        self.check_writable()
        with translated(self.path):
            return receive(
                self._connection, parcels, self._clock, self._transaction, self._queue.awaited,
                LONGEST_HOLD, parted,
            )  # fmt: skip

    def fold_again(self) -> None:
        """Folds every asset anew from its events, a few at a time."""
        with translated(self.path):
            with self._transaction():
                self._connection.execute("DELETE FROM checkpoints")
            tags = queries.all_tags(self._connection)
            put_states(self._connection, self._transaction, tags, LONGEST_HOLD)
            with self._transaction():
                set_meta(self._connection, "fold_version", str(FOLD_VERSION))

    def rebuild(self, progress: Callable[[int, int], None] = lambda *_: None) -> list[str]:
        """Makes everything beside the journal as the events give it; says what was otherwise.

        It is compared on a copy (some seconds for each 10,000 events, and as much disk as the
        record takes); others are kept from writing for moments only, to put differences right.
        """
        self.check_writable()
        with translated(self.path):
            return mend(self.path, self._connection, self._transaction, LONGEST_HOLD, progress)

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[None]:
        if self._read_only and not self._read_only.copy:
            shadow(self._read_only.connection)
            begin(self._connection)
        else:
            begin(self._connection, self._queue)
        try:
            yield
            self._connection.execute("COMMIT")
        except BaseException:
            # Where even this fails the file is gone; SQLite undoes it on the next opening.
            with contextlib.suppress(Exception):
                self._connection.execute("ROLLBACK")
            raise
        finally:
            self._queue.leave()
        if not self._read_only:
            self._tidying.committed()

    def _notice_copy(self, identity: str | None) -> None:
        """A copied file must not go on under the identity of the one it was copied from."""
        present = identity_of(self.path)
        if identity == present:
            return
        begin_anew(self._connection, "copied", present)
        self.notices.append(
            "This record is a copy: it goes on under new keys, apart from the one it came from."
        )

    def _meta(self) -> dict[str, str]:
        return dict(self._connection.execute("SELECT name, value FROM meta").fetchall())

    # Reading

    def _reading(self) -> Connection:
        if self._writing:
            self._writing.flush()
        return self._connection

    def state(self, tag: Tag | str) -> AssetState | None:
        """The present state of an asset, or None when the record knows nothing of it."""
        with translated(self.path):
            return queries.state(self._reading(), str(tag))

    def kept_state(self, tag: Tag | str) -> tuple[str, AssetState] | None:
        """A state with the text it is kept as: while that is the same, so is the state."""
        with translated(self.path):
            text = queries.state_text(self._reading(), str(tag))
            return (text, AssetState.from_json(text)) if text is not None else None

    def states(self, kind: Kind | None = None) -> Iterator[AssetState]:
        """The states of all assets (of a kind), by tag."""
        with translated(self.path):
            yield from queries.states(self._reading(), kind.value if kind else None)

    def held_by(self, place: Tag | str) -> list[AssetState]:
        """The batteries that are in this truck or at this charger; more than one is a
        contradiction."""
        with translated(self.path):
            return queries.held_by(self._reading(), str(place))

    def by_maker_serial(self, kind: Kind, serial: str) -> AssetState | None:
        """The asset with this maker's serial, whatever case and blanks; one in use first."""
        with translated(self.path):
            return queries.by_words(self._reading(), "maker_serial", kind.value, serial)

    def by_fleet_number(self, number: str, kind: Kind = Kind.TRUCK) -> AssetState | None:
        """The truck with this number in the fleet."""
        with translated(self.path):
            return queries.by_words(self._reading(), "fleet_number", kind.value, number)

    def search(self, wanted: Wanted, offset: int, limit: int) -> Hits:
        """A page of the assets that are meant; see tagkit.record.search."""
        with translated(self.path):
            return searching.search(self._reading(), wanted, offset, limit)

    def called(self, words: str) -> list[AssetState]:
        """The assets whose serial, fleet number or bay is exactly this; those in use first."""
        with translated(self.path):
            return searching.called(self._reading(), words)

    def kept_states(self, kind: Kind) -> list[tuple[str, str]]:
        """Number and state, as it is kept, of all assets of a kind, by number."""
        with translated(self.path):
            return searching.kept_states(self._reading(), kind.value)

    def rotation(self, offset: int, limit: int) -> Listed:
        """A page of the batteries, those that may be taken first; see tagkit.record.search."""
        with translated(self.path):
            return searching.rotation(self._reading(), offset, limit)

    def rested(self, volts: Iterable[float], standing: str) -> Iterator[Rested]:
        """The batteries of these nominal voltages with a standing, rested longest first, as
        judged; read as they are taken."""
        with translated(self.path):
            yield from searching.rested(self._reading(), volts, standing)

    def lately_voided(self, most: int) -> list[Event]:
        """The last entries that cancel others, newest first."""
        with translated(self.path):
            return searching.lately_voided(self._reading(), most)

    def timeline(self, tag: Tag | str, limit: int | None = None) -> list[Event]:
        """An asset's events, newest first, voided ones too (``event.voided``)."""
        with translated(self.path):
            return queries.timeline(self._reading(), str(tag), limit)

    def set_apart(self, tag: Tag | str) -> list[Event]:
        """An asset's events that don't count yet: their station's clock is ahead."""
        with translated(self.path):
            return self._apart.of(str(tag))

    def last_of_kind(self, tag: Tag | str, kind: str, limit: int) -> list[Event]:
        """The last events of one kind of an asset, newest first, voided ones too."""
        with translated(self.path):
            return queries.last_of_kind(self._reading(), str(tag), kind, limit)

    def event(self, identity: str) -> Event | None:
        """The event with this id."""
        parts = split_id(identity)
        with translated(self.path):
            return find_event(self._reading(), *parts, also_apart=True) if parts else None

    def last_change(self, of: Tag | str) -> Event | None:
        """The last change (not voided) of a truck or battery, or at a station by its name."""
        with translated(self.path):
            return queries.last_change(self._reading(), str(of))

    def changed_at(self, station: str) -> bool:
        """Whether a change was ever logged at a station, cancelled ones too."""
        with translated(self.path):
            return queries.changed_at(self._reading(), station)

    def happened(
        self, kinds: Sequence[str], since: datetime, until: datetime, limit: int | None = None
    ) -> list[Event]:
        """Events of these kinds recorded in a time, newest first, voided ones too."""
        with translated(self.path):
            return queries.happened(
                self._reading(), kinds, milliseconds(since), milliseconds(until), limit
            )

    def tally(self, since: datetime, until: datetime) -> dict[str, int]:
        """How many events of each kind were recorded in a time, without those cancelled since."""
        with translated(self.path):
            return queries.tally(self._reading(), milliseconds(since), milliseconds(until))

    def latest(self) -> datetime:
        """The latest time of the record; its clock never runs back behind it."""
        with translated(self.path):
            return datetime.fromtimestamp(queries.latest(self._reading()) / 1000, UTC)

    def believable(self, now: datetime) -> datetime:
        """The latest time that is proved to be past; see :func:`tagkit.record.queries.believable`."""
        with translated(self.path):
            found = queries.believable(self._reading(), milliseconds(now))
            return datetime.fromtimestamp(found / 1000, UTC)

    def outlook(self) -> OutlookTables:
        """What was judged of the states, for reading."""
        return OutlookTables(self._reading())

    @contextlib.contextmanager
    def judging(self) -> Iterator[OutlookTables]:
        """What was judged of the states, to be kept anew: together or not at all. Hold it for
        moments only, others can't write meanwhile. Of a record that can only be looked up they are
        kept while it is open."""
        with translated(self.path), self._transaction():
            yield OutlookTables(self._connection)

    def notes(self) -> ExchangeNotes:
        """What is noted of the exchange with other sites, for reading."""
        return ExchangeNotes(self._reading())

    @contextlib.contextmanager
    def noting(self) -> Iterator[ExchangeNotes]:
        """The same, to be changed: together or not at all. Hold it for moments only."""
        self.check_writable()
        with translated(self.path), self._transaction():
            yield ExchangeNotes(self._connection)

    def follow(self, topics: Iterable[str]) -> list[str]:
        """Follows topics at the exchange from now on; gives those that were not yet. What is
        here of them already is folded in."""
        self.check_writable()
        with translated(self.path):
            return follow(self._connection, topics, self._transaction, LONGEST_HOLD)

    def people(self) -> dict[str, Person]:
        """Code -> person, as last authorised."""
        with translated(self.path):
            return queries.people(self._reading())

    def person(self, code: str) -> Person | None:
        """The person with this code."""
        with translated(self.path):
            return queries.person(self._reading(), code)

    def contradictions(self, most: int | None = None) -> list[Contradiction]:
        """What can't all be so, or the first so many of it; for the lead to settle."""
        with translated(self.path):
            return contradictions(self._reading(), most)

    def count_contradictions(self) -> int:
        """How many there are; costs little however many."""
        with translated(self.path):
            return count_contradictions(self._reading())

    def heads(self) -> list[Head]:
        """The end of every chain: kept by peers and printed on reports, they show a cut-off."""
        with translated(self.path):
            return queries.heads(self._reading())

    def export(self, have: Mapping[str, int] | None = None) -> Iterator[Parcel]:
        """The events beyond those a peer has (epoch -> last sequence), for its ``receive``."""
        with translated(self.path):
            yield from queries.export(self._reading(), have or {})


class _Lock:
    """The record's write lock for one writing; it is given back with the writing's ``stack``."""

    def __init__(self, record: Record, stack: contextlib.ExitStack) -> None:
        self._record = record
        self._stack = stack

    def come_forward(self) -> None:
        come_forward(self._record._queue)

    def take(self) -> None:
        self._stack.enter_context(self._record._transaction())

    def begun(self, here: Beginning) -> None:
        self._record._notice_copy(here.identity)

    def is_copy(self, here: Beginning) -> bool:
        return here.identity != identity_of(self._record.path)


def set_meta(connection: Connection, name: str, value: str) -> None:
    """Keeps a fact about the file."""
    connection.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", (name, value))


SERIALS_SKIPPED = 1000


def begin_anew(connection: Connection, reason: str, identity: str) -> None:
    """Ends all chains of this file: its stations begin new epochs when they next write.

    Numbers go on at the next thousand, because the file this one comes from may have given out
    more since.
    """
    connection.execute("UPDATE chains SET writable = 0")
    connection.execute(
        "UPDATE serials SET last = min((last / ?1 + 1) * ?1, 9999999)", (SERIALS_SKIPPED,)
    )
    set_meta(connection, "epoch_reason", reason)
    set_meta(connection, "identity", identity)


def new_file(path: Path) -> Path:
    """An empty file beside ``path`` under a name of its own, to be renamed when it is whole."""
    for number in range(1, 1000):
        unfinished = path.with_name(f"{path.name}.part{number}")
        try:
            unfinished.touch(exist_ok=False)
        except FileExistsError:
            continue
        return unfinished
    raise WrongInput("there are unfinished files", "Delete those named .part", str(path.parent))


def take_place(unfinished: Path, path: Path) -> None:
    """Gives a whole file its name; WrongInput when another program was faster, whose file stays.

    Renaming would put it in the place of a record that was made this very moment. The caller
    deletes what is left under the name it had.
    """
    try:
        os.link(unfinished, path)
    except FileExistsError:
        raise WrongInput(
            "there is a record here already", "Choose another folder", str(path.parent)
        ) from None
    except (OSError, NotImplementedError):  # a disk on which a file has one name only
        unfinished.rename(path)
