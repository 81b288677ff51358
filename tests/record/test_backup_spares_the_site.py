"""A backup never replaces what it is a backup of."""

from __future__ import annotations

from typing import Any

import pytest
from tagkit.errors import WrongInput
from tagkit.record.backup import backup
from tagkit.record.verify import verify


@pytest.mark.parametrize(
    "name", ["record.db", "record.db-wal", "record.db-shm", "site.toml", "keys/some.pem"]
)
def test_the_files_of_the_site_are_not_overwritten(depot: Any, name: str) -> None:
    target = depot.folder / name
    before = target.read_bytes() if target.exists() else None
    for file in (target, depot.folder / "keys" / ".." / name):
        with pytest.raises(WrongInput, match="site itself"):
            backup(depot.record, file, force=True)
    assert (target.read_bytes() if target.exists() else None) == before
    assert verify(depot.folder) == []
    backup(depot.record, depot.folder / "monday.tagkit")
