"""A small disk of a test's own, where this user may mount one (Linux, root)."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

FILLER = "filler"


@contextlib.contextmanager
def small_disk(folder: Path, kilobytes: int) -> Iterator[bool]:
    """A disk of that size at ``folder`` for the block; False where none can be mounted."""
    folder.mkdir(parents=True, exist_ok=True)
    mounted = _mount(folder, kilobytes)
    try:
        yield mounted
    finally:
        if mounted:
            subprocess.run(["umount", "-l", str(folder)], check=True)


def _mount(folder: Path, kilobytes: int) -> bool:
    if sys.platform != "linux" or os.geteuid() != 0:
        return False
    command = ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", str(folder)]
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


def fill(folder: Path, leave: int = 0) -> None:
    """Fills the disk up to its last page, or until so many bytes are left."""
    filler = os.open(folder / FILLER, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    try:
        while True:
            disk = os.statvfs(folder)
            if disk.f_bavail * disk.f_frsize <= leave:
                return
            os.write(filler, bytes(4096))
    except OSError:
        return
    finally:
        os.close(filler)


def make_room(folder: Path) -> None:
    """Frees what was filled."""
    (folder / FILLER).unlink()


def no_page_left(path: Path) -> Any:
    """What the system says of a full disk, where none can be mounted."""
    return os.statvfs_result((4096, 4096, 700, 0, 0, 900, 100, 100, 0, 255))
