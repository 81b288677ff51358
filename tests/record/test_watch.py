"""Whoever watches the record hears of entries, and of another record in its place."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tagkit.record.backup import backup, restore
from tagkit.record.watch import Watch


def test_the_mark_rises_with_entries_only(depot: Any) -> None:
    watch = Watch(depot.folder)
    before = watch.mark()
    assert watch.mark() == before
    depot.change(depot.trucks[0], depot.batteries[0])
    assert watch.mark() > before
    watch.close()


def test_a_record_restored_in_its_place_is_noticed_and_watched(depot: Any, tmp_path: Path) -> None:
    backup(depot.record, tmp_path / "monday.tagkit")
    for number in range(8):
        depot.change(depot.trucks[0], depot.batteries[number % 4])
    watch = Watch(depot.folder)
    before = watch.mark()
    depot.record.close()
    aside = tmp_path / "aside"
    aside.mkdir()
    for one in depot.folder.glob("record.db*"):
        one.rename(aside / one.name)
    assert watch.mark() == before, "in between there is none"
    # It has fewer entries than the one before.
    with restore(tmp_path / "monday.tagkit", depot.folder) as again:
        put_back = watch.mark()
        assert put_back > before
        with again.writing("TS", "desk") as writing:
            writing.append("watered", [depot.batteries[0]], {})
        assert watch.mark() > put_back
    watch.close()
