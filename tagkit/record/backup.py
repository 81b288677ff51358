"""Backing up a record while it is in use, and beginning again from a backup."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from pathlib import Path

from tagkit.errors import NotFound, WrongInput
from tagkit.record.clock import Clock, system_clock
from tagkit.record.record import Record, begin_anew, new_file
from tagkit.record.schema import APPLICATION_ID, SCHEMA_VERSION
from tagkit.record.store import (
    FILE_NAME,
    KEYS_NAME,
    identity_of,
    make_durable,
    sqlite_connection,
    translated,
)


def backup(record: Record, file: Path, *, force: bool = False) -> None:
    """Copies the record into ``file`` while others may go on writing; the copy is checked.

    Private keys are not in it. Raises WrongInput when the file exists and ``force`` is not
    given; an existing file is replaced only by a whole copy. The site's own files never are.
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
        unfinished = new_file(file)
        try:
            _copy(record.path, unfinished)
            _check(unfinished, str(record.path))
            _sync(unfinished)
            unfinished.replace(file)
        finally:
            unfinished.unlink(missing_ok=True)


def _is_of_the_site(record: Record, file: Path) -> bool:
    """Whether writing to ``file`` would destroy the record, its settings or its keys."""
    meant, site = file.resolve(), record.directory.resolve()
    if meant.parent == site / KEYS_NAME:
        return True
    own = (record.path.name, *(f"{record.path.name}-{end}" for end in ("wal", "shm", "journal")))
    return meant.parent == site and meant.name.casefold() in (*own, "site.toml")


def restore(
    file: Path, directory: Path, *, by: str = "restore", clock: Clock = system_clock
) -> Record:
    """A record in ``directory`` from a backup; refuses to overwrite one.

    Every station begins a new epoch that cites the ends of the old chains, because the record
    that was lost may have gone on after the backup; numbers go on at the next thousand.
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
        _check(file, str(file))
        directory.mkdir(parents=True, exist_ok=True)
        unfinished = new_file(path)
        try:
            _copy(file, unfinished)
            stations = _begin_anew(unfinished)
            _sync(unfinished)
            unfinished.rename(path)
        finally:
            unfinished.unlink(missing_ok=True)
    record = Record.open(directory, clock=clock)
    for station in stations[:1]:
        with record.writing(by, station) as writing:
            writing.start_epochs(stations)
    return record


def _copy(source: Path, target: Path) -> None:
    with (
        contextlib.closing(sqlite_connection(source)) as old,
        contextlib.closing(sqlite_connection(target)) as new,
    ):
        old.backup(new)
        # One file, nothing beside it.
        new.execute("PRAGMA journal_mode = DELETE")


def _check(file: Path, where: str) -> None:
    with contextlib.closing(sqlite_connection(file)) as connection:
        try:
            kind = connection.execute("PRAGMA application_id").fetchone()[0]
            version = connection.execute("PRAGMA user_version").fetchone()[0]
            sound = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
        except sqlite3.DatabaseError as error:
            kind, version, sound = APPLICATION_ID, 0, str(error)
    if sound != "ok":
        raise WrongInput(f"the file is damaged: {sound}", "Use another backup", where)
    if kind != APPLICATION_ID:
        raise WrongInput(
            "this file is not a record", "Name a file that “tagkit backup” wrote", where
        )
    if version > SCHEMA_VERSION:
        raise WrongInput(
            "this record was written by a newer tagkit", "Update tagkit on this computer", where
        )


def _begin_anew(file: Path) -> list[str]:
    with contextlib.closing(sqlite_connection(file)) as connection:
        rows = connection.execute(
            "SELECT DISTINCT c.station FROM chains c JOIN meta m "
            "ON m.name = 'site' AND m.value = c.site WHERE c.writable = 1 ORDER BY c.station"
        ).fetchall()
        connection.execute("BEGIN IMMEDIATE")
        begin_anew(connection, "restored", identity_of(file))
        connection.execute("COMMIT")
        make_durable(connection)
    return [station for (station,) in rows]


def _sync(file: Path) -> None:
    with file.open("r+b") as open_file:
        os.fsync(open_file.fileno())
