"""The start page leads to the three moments that matter most."""

from __future__ import annotations

from pathlib import Path

from fastapi.testclient import TestClient


def test_the_start_page_leads_to_a_change_the_rotation_and_a_delivery(client: TestClient) -> None:
    page = client.get("/")
    assert page.status_code == 200
    for address in ("/station", "/rotation", "/delivery"):
        assert f'href="{address}"' in page.text


def test_settings_that_are_moved_away_are_said_and_come_back(
    client: TestClient, site_folder: Path
) -> None:
    path = site_folder / "site.toml"
    kept = path.rename(path.with_suffix(".old"))
    assert "not in the site" in client.get("/").text
    assert client.get("/health").status_code == 503
    kept.rename(path)
    assert client.get("/health").status_code == 200
