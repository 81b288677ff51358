"""A disk for SQLite that forgets what was not synced when the power goes.

Writes are kept in memory, per file and in order, until the file is synced; reads see them.
At a chosen step (a write, a cut, a sync or a deletion) the power goes: from there on every
operation fails, and :meth:`ForgetfulDisk.lose_power` leaves on the real disk what was synced
and, of the rest, nothing, everything, or a random part of random torn pieces.

WAL needs shared memory, which a disk written in Python can't offer, so the connection holds
the file exclusively (SQLite then keeps the WAL's index in its own memory). How a record is
written does not change by that.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Literal

import apsw

SECTOR = 512
_names = itertools.count(1)

Left = Literal["nothing", "everything", "some"]


class PowerCut(apsw.IOError):
    """The power went; nothing more reaches the disk."""


class ForgetfulDisk(apsw.VFS):
    """One disk for one connection. ``cut_at`` is the step at which the power goes (None: never)."""

    def __init__(self, cut_at: int | None = None) -> None:
        self.vfs_name = f"forgetful{next(_names)}"
        self.cut_at = cut_at
        self.steps = 0
        self.dead = False
        self.over = False
        self.connections: list[apsw.Connection] = []
        self.unsynced: dict[str, list[tuple[int, bytes | None]]] = {}
        super().__init__(self.vfs_name, "")

    def step(self, counts: bool = True) -> bool:
        """One step towards the power cut; False when it is over and nothing must be done."""
        if self.over:
            return False
        if self.dead:
            raise PowerCut("the power is out")
        if counts:
            self.steps += 1
            if self.cut_at is not None and self.steps >= self.cut_at:
                self.dead = True
                raise PowerCut("the power went")
        return True

    def xOpen(self, name: Any, flags: list[int]) -> ForgetfulFile:
        return ForgetfulFile(self, name, flags)

    def xDelete(self, filename: str, syncdir: bool) -> None:
        if self.step():
            self.unsynced.pop(filename, None)
            super().xDelete(filename, syncdir)

    def connect(self, path: Path) -> apsw.Connection:
        """A connection through this disk, for ``Record.open(..., connect=disk.connect)``."""
        connection = apsw.Connection(str(path), flags=apsw.SQLITE_OPEN_READWRITE, vfs=self.vfs_name)
        self.connections.append(connection)
        connection.execute("PRAGMA locking_mode = EXCLUSIVE")
        return connection

    def lose_power(self, left: Left, chance: random.Random) -> None:
        """Leaves on the real disk what a power cut leaves of the unsynced writes."""
        # What SQLite still does to close its files reaches nothing any more.
        self.dead = self.over = True
        for connection in self.connections:
            connection.close(True)
        for name, writes in self.unsynced.items():
            if left == "nothing" or not Path(name).exists():
                continue
            with Path(name).open("r+b") as file:
                for offset, data in writes:
                    if data is None:
                        if left == "everything" or chance.random() < 0.5:
                            file.truncate(offset)
                        continue
                    for start in range(0, len(data), SECTOR):
                        if left == "everything" or chance.random() < 0.5:
                            file.seek(offset + start)
                            file.write(data[start : start + SECTOR])
        self.unsynced.clear()


class ForgetfulFile(apsw.VFSFile):
    """A file whose writes wait for a sync. Only the database and its WAL are buffered."""

    def __init__(self, disk: ForgetfulDisk, name: Any, flags: list[int]) -> None:
        self.disk = disk
        self.name = name if isinstance(name, str) else name.filename() if name else ""
        super().__init__("", name, flags)

    @property
    def waiting(self) -> list[tuple[int, bytes | None]]:
        return self.disk.unsynced.setdefault(self.name, [])

    def xWrite(self, data: bytes, offset: int) -> None:
        if self.disk.step():
            self.waiting.append((offset, bytes(data)))

    def xTruncate(self, size: int) -> None:
        if self.disk.step():
            self.waiting.append((size, None))

    def xSync(self, flags: int) -> None:
        if not self.disk.step():
            return
        for offset, data in self.waiting:
            if data is None:
                super().xTruncate(offset)
            else:
                super().xWrite(data, offset)
        self.waiting.clear()
        super().xSync(flags)

    def xFileSize(self) -> int:
        self.disk.step(counts=False)
        size = super().xFileSize()
        for offset, data in self.waiting:
            size = offset if data is None else max(size, offset + len(data))
        return size

    def xRead(self, amount: int, offset: int) -> bytes:
        self.disk.step(counts=False)
        size = super().xFileSize()
        end = offset + amount
        there = super().xRead(min(amount, size - offset), offset) if size > offset else b""
        content, known = bytearray(there.ljust(amount, b"\0")), len(there)
        for start, data in self.waiting:
            if data is None:
                known = min(known, max(0, start - offset))
                content[known:] = bytes(amount - known)
            elif start < end and start + len(data) > offset:
                first, last = max(start, offset), min(start + len(data), end)
                content[first - offset : last - offset] = data[first - start : last - start]
                known = max(known, last - offset)
        return bytes(content[:known])


@contextmanager
def power_cut(cut_at: int | None, left: Left, chance: random.Random) -> Iterator[ForgetfulDisk]:
    """A disk whose power goes at a step; afterwards the real files hold what was left.

    Errors that come of the cut end the block quietly; ``disk.dead`` tells that it came.
    """
    disk = ForgetfulDisk(cut_at)
    try:
        yield disk
    except Exception:
        if not disk.dead:
            raise
    finally:
        disk.lose_power(left, chance)
        with suppress(Exception):
            disk.unregister()
