"""A site to serve, and a client that asks it as a browser would."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from tagkit.jobs.site import create_site
from tagkit.web.app import create_app
from tagkit.web.options import ServeOptions


@pytest.fixture
def site_folder(tmp_path: Path) -> Path:
    folder = tmp_path / "site"
    create_site(folder, "QM").record.close()
    return folder


@pytest.fixture
def client(site_folder: Path) -> Iterator[TestClient]:
    app = create_app(ServeOptions(site_folder))
    with TestClient(app, base_url="http://127.0.0.1:8642") as asking:
        yield asking
