"""A server whose disk is full to the last page: everything is looked up, and then kept again."""

from __future__ import annotations

from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from known_browsers import known_browser
from small_disk import fill, make_room, no_page_left, small_disk
from tagkit.assets.tag import Kind
from tagkit.jobs.site import create_site
from tagkit.record import read_only
from tagkit.web.access.store import AccessStore
from tagkit.web.app import create_app
from tagkit.web.options import ServeOptions


@pytest.mark.parametrize("served_before", [False, True])
def test_begun_on_a_full_disk_it_shows_the_numbers_and_keeps_again_when_there_is_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, served_before: bool
) -> None:
    disk, folder = tmp_path / "disk", tmp_path / "disk" / "site"
    with small_disk(disk, 3000) as mounted:
        with (
            create_site(folder, "QM") as site,
            site.record.writing("TS", "desk") as writing,
        ):
            battery = str(writing.issue(Kind.BATTERY))
            writing.append("registered", [battery], {"nameplate": {}})
        if served_before:
            AccessStore(folder).close()
        if mounted:
            fill(disk)
        else:
            monkeypatch.setattr(read_only.os, "statvfs", no_page_left)
        app = create_app(ServeOptions(folder))
        with TestClient(app, base_url="http://127.0.0.1:8642") as asking:
            known_browser(app, asking)
            page = asking.get(f"/A/{battery}")
            assert page.status_code == 200 and battery in page.text
            assert "Look-ups only" in page.text and "Free some space there" in page.text
            health = asking.get("/health")
            assert health.status_code == 503
            assert "its disk is full" in health.json()["troubles"][0]
            if mounted:
                make_room(disk)
            else:
                monkeypatch.undo()
            known_browser(app, asking)
            page = asking.get(f"/A/{battery}")
            assert page.status_code == 200 and "Look-ups only" not in page.text
            app.state.access.run("INSERT INTO pins VALUES ('TS', 'x', 0)")
        store = AccessStore(folder)
        assert store.one("SELECT person FROM pins") == ("TS",)
        store.close()
