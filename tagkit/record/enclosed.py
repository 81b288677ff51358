"""Files of the site that people made, within a backup: photos, lists of steps, half-mended
deliveries, templates of their own.

They stand in a table of the backup's file, each with its SHA-256, so that a backup stays one
file and sealing it seals them too. What can be printed again is not among them; keys, the
certificate and the access file are never: a restored site makes its own.
"""

from __future__ import annotations

import contextlib
import os
import re
from hashlib import sha256
from pathlib import Path

from tagkit.errors import WrongInput
from tagkit.record.store import Connection, sqlite_connection

FOLDERS = ("photos", "deliveries", "templates", "label_templates")
"""Folders of a site whose files go along."""

SINGLE = re.compile(r"[\w-][\w .-]*\.toml")
"""Files beside the record that do."""

_ELSEWHERE = "site.toml"
"""It stands in the backup by itself."""

_PART = re.compile(r"[\w-][\w .-]*")
_TABLE = "enclosed"


def enclose(backup: Path, directory: Path) -> int:
    """Puts the files of the site in ``directory`` into a backup; how many."""
    names = [name for name in _names(directory) if (directory / name).is_file()]
    with contextlib.closing(sqlite_connection(backup)) as connection:
        connection.execute(f"DROP TABLE IF EXISTS {_TABLE}")
        connection.execute("BEGIN IMMEDIATE")
        connection.execute(
            f"CREATE TABLE {_TABLE} (name TEXT PRIMARY KEY, sha256 TEXT NOT NULL, "
            "content BLOB NOT NULL)"
        )
        for name in names:
            content = (directory / name).read_bytes()
            connection.execute(
                f"INSERT INTO {_TABLE} VALUES (?, ?, ?)",
                (name, sha256(content).hexdigest(), content),
            )
        connection.execute("COMMIT")
    return len(names)


def check_enclosed(connection: Connection, where: str) -> int:
    """How many files are enclosed; WrongInput when one is not as it was, or is none of a site."""
    if not _has_table(connection):
        return 0
    count = 0
    for name, digest, content in connection.execute(f"SELECT name, sha256, content FROM {_TABLE}"):
        if not (isinstance(name, str) and _belongs(name)):
            raise WrongInput(f"{name!a} in it is no file of a site", "Use another backup", where)
        if not isinstance(content, bytes) or sha256(content).hexdigest() != digest:
            raise WrongInput(f"{name} in it is damaged", "Use another backup", where)
        count += 1
    return count


def bring_back(backup: Path, directory: Path) -> list[str]:
    """Writes the enclosed files into a site's folder and takes them out of the file.

    A file that is there already stays as it is; gives the names of those that are otherwise
    than in the backup.
    """
    kept = []
    with contextlib.closing(sqlite_connection(backup)) as connection:
        check_enclosed(connection, str(backup))
        if not _has_table(connection):
            return []
        for name, _, content in connection.execute(
            f"SELECT name, sha256, content FROM {_TABLE} ORDER BY name"
        ):
            path = directory / name
            if not path.exists():
                _write(path, content)
            elif not path.is_file() or path.read_bytes() != content:
                kept.append(str(name))
        connection.execute(f"DROP TABLE {_TABLE}")
        connection.execute("VACUUM")
    return kept


def _write(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(f"{path.name}.part")
    with unfinished.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    unfinished.replace(path)


def _names(directory: Path) -> list[str]:
    found = list(directory.glob("*.toml"))
    for folder in FOLDERS:
        found += (directory / folder).rglob("*")
    names = (path.relative_to(directory).as_posix() for path in found if not path.is_symlink())
    return sorted(name for name in names if _belongs(name))


def _belongs(name: str) -> bool:
    """Whether a name is one that a site's file may have; nothing leads out of its folder."""
    first, *rest = name.split("/")
    if not all(_PART.fullmatch(part) for part in (first, *rest)) or name.endswith(".part"):
        return False
    return first in FOLDERS if rest else bool(SINGLE.fullmatch(name)) and name != _ELSEWHERE


def _has_table(connection: Connection) -> bool:
    row = connection.execute(
        "SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?", (_TABLE,)
    ).fetchone()
    return row is not None
