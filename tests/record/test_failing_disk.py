"""A disk that fails is told as such."""

from __future__ import annotations

import sqlite3
from typing import Any

import pytest
from tagkit.errors import Busy
from tagkit.record.store import translated


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        ("disk I/O error", 4874, "disk"),  # SQLITE_IOERR_SHMSIZE
        ("locking protocol", 15, "in use"),  # SQLITE_PROTOCOL: others keep opening and closing it
    ],
)
def test_what_others_or_the_disk_do_is_no_fault_of_ours(
    depot: Any, words: str, code: int, told: str
) -> None:
    error = sqlite3.OperationalError(words)
    error.sqlite_errorcode = code
    with pytest.raises(Busy, match=told), translated(depot.record.path):
        raise error
