"""A disk that fails is told as such."""

from __future__ import annotations

import sqlite3
from typing import Any

import pytest
from tagkit.errors import Busy
from tagkit.record.store import translated


def test_a_disk_that_fails_is_no_fault_of_ours(depot: Any) -> None:
    error = sqlite3.OperationalError("disk I/O error")
    error.sqlite_errorcode = 4874  # SQLITE_IOERR_SHMSIZE
    with pytest.raises(Busy, match="disk"), translated(depot.record.path):
        raise error
