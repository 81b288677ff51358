"""Backing up a record while it is in use, and beginning again from a backup."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import tempfile
from collections.abc import Callable
from pathlib import Path

from tagkit.assets.tag import check_site_code
from tagkit.errors import NotFound, WrongInput
from tagkit.record.clock import Clock, system_clock
from tagkit.record.enclosed import bring_back, check_enclosed, enclose
from tagkit.record.journal import site_of
from tagkit.record.read_only import looked_into
from tagkit.record.record import Record, begin_anew, new_file, set_meta, take_place
from tagkit.record.schema import APPLICATION_ID, SCHEMA_VERSION
from tagkit.record.sealed import is_sealed, seal, unseal
from tagkit.record.store import (
    FILE_NAME,
    KEYS_NAME,
    Connection,
    identity_of,
    make_durable,
    sqlite_connection,
    translated,
)

SETTINGS = "settings"
"""Under this name the site's settings stand in a backup."""


def backup(
    record: Record,
    file: Path,
    *,
    force: bool = False,
    settings: str | None = None,
    files: bool = True,
    password: str | None = None,
) -> None:
    """Copies the record into ``file`` while others may go on writing; the copy is checked.

    Private keys are not in it. ``settings`` (the text of site.toml) go along, and ``files`` that
    people made (see enclosed.py). With a ``password`` the file is sealed. Raises WrongInput when
    the file exists and ``force`` is not given; an existing file is replaced only by a whole copy.
    The site's own files never are.
    """
    if _is_of_the_site(record, file):
        raise WrongInput(
            "this is a file of the site itself",
            "Name another file, best on another disk",
            str(file),
        )
    if file.exists() and not force:
        raise WrongInput(
            "there is a file of that name", "Choose another name, or add --force", str(file)
        )
    if not file.parent.is_dir():
        raise WrongInput("that folder does not exist", "Make it first", str(file.parent))
    with translated(file):
        # What is to be sealed is never written in the clear beside the sealed file.
        plain = _plain_file(record, file, password)
        try:
            with looked_into(record.path) as source:
                _copy(source, plain)
            if settings is not None:
                _put_settings(plain, settings)
            if files:
                enclose(plain, record.directory)
            _check(
                plain,
                str(record.path),
                "this record",
                "No backup was made of it; run “tagkit verify”, and keep the older backups",
            )
            _sync(plain)
            if password:
                _seal(plain, file, password)
            else:
                plain.replace(file)
        finally:
            plain.unlink(missing_ok=True)


def _plain_file(record: Record, file: Path, password: str | None) -> Path:
    if not password:
        return new_file(file)
    if record.bar is None:
        return new_file(record.path)
    number, name = tempfile.mkstemp(prefix="tagkit-backup-")
    os.close(number)
    return Path(name)


def _seal(plain: Path, file: Path, password: str) -> None:
    unfinished = new_file(file)
    try:
        digest = seal(plain, unfinished, password)
        if unseal(unfinished, None, password) != digest:
            raise WrongInput(
                "the file reads back otherwise than it was written", "Use another disk"
            )
        unfinished.replace(file)
    finally:
        unfinished.unlink(missing_ok=True)


def _put_settings(file: Path, text: str) -> None:
    with contextlib.closing(sqlite_connection(file)) as connection:
        set_meta(connection, SETTINGS, text)


def _take_settings(file: Path) -> str | None:
    with contextlib.closing(sqlite_connection(file)) as connection:
        row = connection.execute("SELECT value FROM meta WHERE name = ?", (SETTINGS,)).fetchone()
        connection.execute("DELETE FROM meta WHERE name = ?", (SETTINGS,))
    return row[0] if row and isinstance(row[0], str) else None


def _is_of_the_site(record: Record, file: Path) -> bool:
    """Whether writing to ``file`` would destroy the record, its settings or its keys."""
    meant, site = file.resolve(), record.directory.resolve()
    if meant.parent == site / KEYS_NAME:
        return True
    own = (
        record.path.name,
        *(f"{record.path.name}-{end}" for end in ("wal", "shm", "journal", "queue")),
    )
    return meant.parent == site and meant.name.casefold() in (*own, "site.toml")


def restore(
    file: Path,
    directory: Path,
    *,
    by: str = "restore",
    clock: Clock = system_clock,
    password: str | None = None,
    prepare: Callable[[str, str | None], None] = lambda _site, _settings: None,
) -> Record:
    """A record in ``directory`` from a backup; refuses to overwrite one.

    Every station begins a new epoch that cites the ends of the old chains, because the record
    that was lost may have gone on after the backup; numbers go on at the next thousand.
    ``prepare`` is called with the site's code and the settings in the backup (None in an old
    one) before the record is there: what it writes is there when the record is.
    """
    if not file.is_file():
        raise NotFound("there is no such file", "Name a file that “tagkit backup” wrote", str(file))
    path = directory / FILE_NAME
    for there in (path, Path(f"{path}-wal"), Path(f"{path}-journal")):
        if there.exists():
            raise WrongInput(
                f"there is a record here already ({there.name})",
                "Restore into an empty folder; nothing is ever overwritten",
                str(directory),
            )
    with translated(file):
        sealed = is_sealed(file)
        if sealed and not password:
            raise WrongInput(
                "this backup is sealed with a password",
                "Add --password; it is asked for then",
                str(file),
            )
        if not sealed:
            _check(file, str(file))
    # From here on it is the new site's disk that may be full.
    with translated(path):
        directory.mkdir(parents=True, exist_ok=True)
        unfinished = new_file(path)
        try:
            if sealed and password:
                unseal(file, unfinished, password)
                _check(unfinished, str(file))
            else:
                with contextlib.closing(sqlite_connection(file)) as old:
                    _copy(old, unfinished)
            settings = _take_settings(unfinished)
            site, stations = _begin_anew(unfinished)
            bring_back(unfinished, directory)
            _sync(unfinished)
            prepare(site, settings)
            take_place(unfinished, path)
        finally:
            unfinished.unlink(missing_ok=True)
    record = Record.open(directory, clock=clock)
    for station in stations[:1]:
        with record.writing(by, station) as writing:
            writing.start_epochs(stations)
    return record


def _copy(source: Connection, target: Path) -> None:
    assert isinstance(source, sqlite3.Connection)
    with contextlib.closing(sqlite_connection(target)) as new:
        source.backup(new)
        # One file, nothing beside it.
        new.execute("PRAGMA journal_mode = DELETE")


def _check(
    file: Path, where: str, what: str = "the file", remedy: str = "Use another backup"
) -> None:
    with contextlib.closing(sqlite_connection(file)) as connection:
        try:
            kind = connection.execute("PRAGMA application_id").fetchone()[0]
            version = connection.execute("PRAGMA user_version").fetchone()[0]
            sound = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
            if sound == "ok" and kind == APPLICATION_ID and version <= SCHEMA_VERSION:
                sound = _strange(connection) or "ok"
                check_enclosed(connection, where)
        except sqlite3.DatabaseError as error:
            kind, version, sound = APPLICATION_ID, 0, str(error)
            if what == "the file" and "not a database" in sound:
                kind, sound = 0, "ok"
    if sound != "ok":
        raise WrongInput(f"{what} is damaged ({_first_fault(sound)})", remedy, where)
    if kind != APPLICATION_ID:
        raise WrongInput(
            "this file is not a record", "Name a file that “tagkit backup” wrote", where
        )
    if version > SCHEMA_VERSION:
        raise WrongInput(
            "this record was written by a newer tagkit", "Update tagkit on this computer", where
        )


def _strange(connection: Connection) -> str | None:
    """What is in the file that no record has, or is not there that every record has."""
    # What would act by itself when the record is next written to.
    row = connection.execute(
        "SELECT type, name FROM sqlite_master WHERE type IN ('trigger', 'view') LIMIT 1"
    ).fetchone()
    if row:
        return f"the {row[0]} {row[1]!a} is none of a record"
    for table, columns in (
        ("chains", "chain, site, station, epoch, public_key, writable, head_sequence, head_hash"),
        ("events", "n, chain, sequence, kind, clock, effective, apart, raw, signature"),
    ):
        connection.execute(f"SELECT {columns} FROM {table} LIMIT 1").fetchone()
    row = connection.execute("SELECT value FROM meta WHERE name = 'site'").fetchone()
    with contextlib.suppress(WrongInput):
        if row and isinstance(row[0], str) and check_site_code(row[0]) == row[0]:
            return None
    return "it does not say of which site it is"


def _first_fault(found: str) -> str:
    """Of what SQLite's check says, the part that says what is wrong, in one line."""
    lines = [one.strip() for one in found.splitlines() if one.strip(" *")]
    return next((one for one in lines if not one.startswith("***")), found)


def _begin_anew(file: Path) -> tuple[str, list[str]]:
    with contextlib.closing(sqlite_connection(file)) as connection:
        rows = connection.execute(
            "SELECT DISTINCT c.station FROM chains c JOIN meta m "
            "ON m.name = 'site' AND m.value = c.site WHERE c.writable = 1 ORDER BY c.station"
        ).fetchall()
        connection.execute("BEGIN IMMEDIATE")
        begin_anew(connection, "restored", identity_of(file))
        connection.execute("COMMIT")
        make_durable(connection)
        site = site_of(connection)
    return site, [station for (station,) in rows]


def _sync(file: Path) -> None:
    with file.open("r+b") as open_file:
        os.fsync(open_file.fileno())
