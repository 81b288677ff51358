"""A site to serve, and a client that asks it as a browser would."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from fastapi.testclient import TestClient
from known_browsers import known_browser
from tagkit.jobs.site import create_site
from tagkit.web.app import create_app
from tagkit.web.options import ServeOptions

if TYPE_CHECKING:
    from battery_room import BatteryRoom
    from lookup_room import Pages


@pytest.fixture
def site_folder(tmp_path: Path) -> Path:
    folder = tmp_path / "site"
    create_site(folder, "QM").record.close()
    return folder


@pytest.fixture
def client(site_folder: Path) -> Iterator[TestClient]:
    """At the server's own computer, with the cookie and the token that a page gave it."""
    app = create_app(ServeOptions(site_folder))
    with TestClient(app, base_url="http://127.0.0.1:8642") as asking:
        known_browser(app, asking)
        yield asking


@pytest.fixture(scope="session")
def lookup_site(tmp_path_factory: pytest.TempPathFactory) -> BatteryRoom:
    """A room to look things up in, made once."""
    from lookup_room import lookup_room

    return lookup_room(tmp_path_factory.mktemp("lookup") / "site")


@pytest.fixture
def pages(lookup_site: BatteryRoom, tmp_path: Path) -> Iterator[Pages]:
    """Its pages, for one test alone; nobody has begun a shift."""
    from lookup_room import pages_of

    with pages_of(lookup_site.moved_to(tmp_path / "room")) as made:
        yield made
