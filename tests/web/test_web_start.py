"""The start page leads to the three moments that matter most."""

from __future__ import annotations

from pathlib import Path

from fastapi.testclient import TestClient
from tagkit.jobs.incidents import incidents
from tagkit.jobs.people import authorise
from tagkit.jobs.site import open_site


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


def test_nothing_more_goes_into_a_record_that_another_was_put_in_the_place_of(
    client: TestClient, site_folder: Path
) -> None:
    with open_site(site_folder) as site:
        authorise(site, "SW", "", "supervisor", None, None, by="SW", station="desk")
    assert client.post("/shift/open", data={"who": "SW"}, follow_redirects=False).status_code == 303
    there = list(site_folder.glob("record.db*"))
    copies = {one.name: one.read_bytes() for one in there}
    for one in there:
        one.rename(one.with_name(f"old-{one.name}"))
    for name, content in copies.items():
        (site_folder / name).write_bytes(content)
    client.post("/incidents", data={"sort": "spill", "what": "acid on the floor"})
    with open_site(site_folder) as site:
        assert [one.what for one in incidents(site)] == ["acid on the floor"]
