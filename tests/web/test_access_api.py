"""The API and what watches the server."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
import schemathesis
from access_room import Room, room
from hypothesis import HealthCheck, given, settings
from tagkit.jobs.receive import receive
from tagkit.jobs.site import open_site

SHEET = """kind,serial,fleet number,voltage,capacity,weight,weight min,weight max,chemistry
battery,P1,,48 V,600 Ah,1000 kg,,,vented lead-acid
battery,P2,,24 V,300 Ah,400 kg,,,vented lead-acid
truck,,R-07,48 V,,,950 kg,1100 kg,
"""


@pytest.fixture(scope="module")
def here(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Room]:
    with room(tmp_path_factory.mktemp("api"), lan=False) as made:
        sheet = made.folder.parent / "fleet.csv"
        sheet.write_text(SHEET, encoding="utf-8")
        with open_site(made.folder, made.clock) as site:
            received = receive(site, sheet, by="LEAD", station="desk", as_stamped=True)
        assert [row.tag.kind.value for row in received.taken] == ["B", "B", "T"]
        made.numbers = [str(row.tag) for row in received.taken]
        yield made


def test_where_is_the_same_as_on_the_command_line(here: Room) -> None:
    told = here.client().get(f"/api/where/{here.numbers[0].lower()}").json()
    assert told["schema"] == 1 and told["tag"] == here.numbers[0]
    assert told["place"] is None and told["last_charged_at"] is None


def test_fit_takes_either_order(here: Room) -> None:
    battery, light, truck = here.numbers
    client = here.client()
    assert client.get(f"/api/fit/{battery}/{truck}").json()["verdict"] == "fit"
    told = client.get(f"/api/fit/{truck}/{light}").json()
    assert told["verdict"] == "no_fit"
    assert {check["name"] for check in told["checks"]} >= {"voltage", "weight", "chemistry"}


def test_mishaps_have_their_status(here: Room) -> None:
    client = here.client()
    battery, light, _ = here.numbers
    assert client.get("/api/where/B-QM-00417-D").status_code == 404
    assert client.get("/api/where/B-QM-00417-X").status_code == 400
    assert client.get(f"/api/fit/{battery}/{light}").status_code == 400
    assert client.get("/api/assets?page=0").status_code == 422
    assert client.get("/api/nothing").status_code == 404


def test_assets_are_searched_and_paged(here: Room) -> None:
    client = here.client()
    told = client.get("/api/assets").json()
    assert (told["total"], told["page"], told["pages"]) == (3, 1, 1)
    assert client.get("/api/assets?kind=truck").json()["total"] == 1
    assert client.get("/api/assets?q=p2").json()["assets"][0]["tag"] == here.numbers[1]
    assert client.get("/api/assets?page=9").json()["assets"] == []


def test_the_description_tells_of_the_api_alone(here: Room) -> None:
    described = here.client().get("/api/openapi.json").json()
    assert described["openapi"].startswith("3.")
    assert {"/api/where/{number}", "/api/fit/{battery}/{other}", "/api/assets"} <= set(
        described["paths"]
    )
    assert all(path.startswith("/api/") for path in described["paths"])


@pytest.mark.filterwarnings("ignore:Setting per-request cookies")
def test_nothing_sent_to_the_api_is_a_fault_of_ours(here: Room) -> None:
    schema = schemathesis.openapi.from_dict(here.app.openapi())
    client = here.client()
    asked: dict[int, int] = {}
    faults = []
    for found in schema.get_all_operations():
        operation = found.ok()

        @settings(
            max_examples=40,
            deadline=None,
            derandomize=True,
            database=None,
            suppress_health_check=list(HealthCheck),
        )
        @given(case=operation.as_strategy())
        def ask(case: schemathesis.Case) -> None:
            answer = client.request(**case.as_transport_kwargs(base_url=here.base))
            asked[answer.status_code] = asked.get(answer.status_code, 0) + 1
            if answer.status_code >= 500:
                faults.append((case.formatted_path, answer.status_code, answer.text))

        ask()
    assert faults == []
    assert sum(asked.values()) >= 100 and len(asked) >= 3, asked


def test_a_program_without_cookies_may_send_json_to_the_api_alone(here: Room) -> None:
    from fastapi.testclient import TestClient
    from tagkit.web.depends import ENTER

    here.app.add_api_route("/api/noted", lambda: {"schema": 1}, methods=["POST"],
                           dependencies=[ENTER])  # fmt: skip
    program = TestClient(here.app, base_url=here.base, follow_redirects=False)
    assert program.post("/api/noted", json={}).status_code == 200
    assert program.post("/shift/open", json={"who": "LEAD"}).status_code == 403
    for headers in (
        {"Cookie": "language=en"}, {"Origin": here.base}, {"Sec-Fetch-Site": "same-origin"},
        {"Content-Type": "text/plain"},
    ):  # fmt: skip
        fresh = TestClient(here.app, base_url=here.base)
        assert fresh.post("/api/noted", content="{}", headers=headers).status_code == 403


def test_health_says_well_and_why_not(here: Room) -> None:
    client = here.client()
    told = client.get("/health")
    assert told.status_code == 200 and told.json()["ok"] is True
    here.clock.turn(days=-400)
    behind = client.get("/health")
    here.clock.turn(days=400)
    assert behind.status_code == 503
    assert "clock is behind" in behind.json()["troubles"][0]
    for secret in ("LEAD", str(here.folder), here.numbers[0]):
        assert secret not in told.text + behind.text


def test_health_of_a_record_that_is_gone(tmp_path: Path) -> None:
    with room(tmp_path, lan=False) as made:
        client = made.client()
        assert client.get("/health").status_code == 200
        made.app.state.door.close()
        (made.folder / "record.db").rename(made.folder / "gone.db")
        told = client.get("/health")
        assert told.status_code == 503 and "no record" in told.json()["troubles"][0]


def test_metrics_are_in_the_open_form(here: Room) -> None:
    told = here.client().get("/metrics")
    assert told.headers["content-type"].startswith("application/openmetrics-text")
    lines = told.text.splitlines()
    assert lines[-1] == "# EOF" and "tagkit_record_open 1" in lines
    form = re.compile(r"tagkit_[a-z_]+(\{[a-z]+=\"[^\"]*\"\})? (\+Inf|-?\d+(\.\d+)?(e[+-]?\d+)?)")
    families = [line.split()[2] for line in lines if line.startswith("# TYPE")]
    assert len(families) == len(set(families)) >= 5
    for line in lines:
        assert line.startswith("# ") or form.fullmatch(line), line
