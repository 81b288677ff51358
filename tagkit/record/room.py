"""How much room the record's disk has, and what is kept of it for recording."""

from __future__ import annotations

import shutil
from pathlib import Path

from tagkit.errors import Busy

KEPT_FREE = 100_000_000
"""Bytes that what other sites send must leave: a week of a large room's own events."""


def free_bytes(folder: Path) -> int:
    """What is free for this user; 0 where that can't be told."""
    try:
        return shutil.disk_usage(folder).free
    except OSError:
        return 0


def check_room(folder: Path) -> None:
    """Busy where so little is free that only what happens here should be recorded."""
    free = free_bytes(folder)
    if free < KEPT_FREE:
        raise Busy(
            f"only {free // 1_000_000} MB are free on this disk, so nothing more is fetched from "
            "other sites: recording here needs the room",
            "Free some space; what was fetched is kept, and the next exchange goes on from there",
            str(folder),
        )
