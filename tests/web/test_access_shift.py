"""Who is at work: a shift begins with a badge, a code or a PIN, and ends by itself."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from access_room import ATTENDANT, HOST, LAST_DAY, LEAD, PIN, TECHNICIAN, Room, room
from fastapi import WebSocket
from fastapi.testclient import TestClient
from tagkit.jobs.people import authorise
from tagkit.jobs.site import open_site
from tagkit.web.access.refused import NotAllowed
from tagkit.web.access.shifts import open_shift, still_here
from tagkit.web.access.visitors import visitor_of


@pytest.fixture
def here(tmp_path: Path) -> Iterator[Room]:
    """Served to its own computer."""
    with room(tmp_path, lan=False) as made:
        yield made


@pytest.fixture
def lan(tmp_path: Path) -> Iterator[Room]:
    """Served to a network."""
    with room(tmp_path, lan=True) as made:
        yield made


def shown(client: TestClient) -> str:
    return client.get("/shift").text


def at_work(client: TestClient, code: str) -> bool:
    return f"<dd>{code}</dd>" in shown(client)


def test_on_the_own_computer_a_code_is_enough(here: Room) -> None:
    client = here.client()
    assert "No shift is open here" in shown(client)
    assert here.begin(client, "lead") == 303
    page = shown(client)
    assert '<p class="initials">LE</p>' in page and "<dd>supervisor</dd>" in page
    assert client.get("/stations").status_code == 200


def test_whoever_has_a_pin_gives_it_before_acting_as_a_supervisor(here: Room) -> None:
    here.give_pin()
    client = here.client()
    here.begin(client, LEAD)
    assert "<dd>technician</dd>" in shown(client)
    refused = client.get("/stations")
    assert refused.status_code == 403 and "has not given the PIN" in refused.text
    assert here.begin(client, LEAD, PIN) == 303
    assert client.get("/stations").status_code == 200


def test_the_person_of_the_settings_is_at_work_on_the_own_computer_only(here: Room) -> None:
    here.settings(by=f'"{LEAD}"')
    assert at_work(here.client(), LEAD)
    passed_on = here.client()
    passed_on.headers["X-Forwarded-For"] = "192.0.2.99"
    assert not at_work(passed_on, LEAD)
    here.give_pin()
    assert not at_work(here.client(), LEAD), "whoever has a PIN is not taken on trust"


def test_a_badge_or_code_begins_a_shift_at_an_enrolled_station(lan: Room) -> None:
    station = lan.station()
    assert lan.begin(station, lan.badge(ATTENDANT)) == 303
    page = shown(station)
    assert "<dd>ATT</dd>" in page and "<dd>bay-1</dd>" in page


def test_elsewhere_in_the_network_a_badge_is_not_enough(lan: Room) -> None:
    phone = lan.client()
    refused = phone.post("/shift/open", data={"who": lan.badge(ATTENDANT)})
    assert refused.status_code == 403 and "not a station" in refused.text
    lan.give_pin(TECHNICIAN)
    assert lan.begin(phone, TECHNICIAN, PIN) == 303
    assert at_work(phone, TECHNICIAN)


def test_a_supervisor_acts_from_the_network_only_with_the_pin(lan: Room) -> None:
    station = lan.station()
    lan.begin(station, lan.badge(LEAD))
    assert station.get("/stations").status_code == 403
    assert lan.begin(station, LEAD, "111222") == 403
    assert at_work(station, LEAD), "a wrong PIN does not end the shift"
    lan.give_pin()
    assert not at_work(station, LEAD), "a new PIN ends the shifts that were open"
    assert lan.begin(station, LEAD, PIN) == 303
    assert station.get("/stations").status_code == 200


def test_a_badge_of_another_site_begins_nothing(here: Room) -> None:
    client = here.client()
    badge = str(type(here).badge(here, LEAD)).replace("-QM-", "-ZZ-")
    assert here.begin(client, badge) == 403  # the check character is wrong, too
    from tagkit.assets.card import badge_for

    refused = client.post("/shift/open", data={"who": str(badge_for("ZZ", LEAD))})
    assert refused.status_code == 403 and "another site" in refused.text


def test_who_is_not_recorded_begins_nothing(here: Room) -> None:
    client = here.client()
    refused = client.post("/shift/open", data={"who": "NOBODY"})
    assert refused.status_code == 403 and "NOBODY is not recorded" in refused.text


def test_a_shift_ends_by_hand(here: Room) -> None:
    client = here.client()
    here.begin(client, LEAD)
    assert client.post("/shift/close").status_code == 303
    assert "No shift is open here" in shown(client)


def test_a_shift_ends_when_nothing_was_done_for_long(here: Room) -> None:
    client = here.client()
    here.begin(client, LEAD)
    here.clock.turn(hours=3.9)
    assert at_work(client, LEAD)
    here.clock.turn(hours=3.9)
    assert at_work(client, LEAD), "looking at a page counts as doing something"
    here.clock.turn(hours=4.1)
    assert not at_work(client, LEAD)


def test_what_pages_ask_for_by_themselves_keeps_no_shift_open(here: Room) -> None:
    client = here.client()
    here.begin(client, LEAD)
    for _ in range(9):
        here.clock.turn(minutes=30)
        client.get("/shift", headers={"HX-Request": "true"})
    assert not at_work(client, LEAD)


def test_presses_and_labels_shown_keep_a_shift_open(here: Room) -> None:
    @here.app.websocket("/pressed")
    async def pressed(socket: WebSocket) -> None:
        await socket.accept()
        with here.app.state.door.borrow() as site:
            if "press" in socket.query_params:
                still_here(socket, site)
            await socket.send_text(visitor_of(socket, site).person or "nobody")
        await socket.close()

    def asked(address: str) -> str:
        with client.websocket_connect(f"ws://127.0.0.1:8642{address}") as socket:
            return socket.receive_text()

    client = here.client()
    here.begin(client, LEAD)
    for _ in range(2):
        here.clock.turn(hours=3)
        assert asked("/pressed?press") == LEAD
    here.clock.turn(hours=3)
    assert asked("/pressed") == LEAD
    here.clock.turn(hours=1.5)
    assert asked("/pressed") == "nobody", "a picture that goes on by itself is nobody at work"


def test_a_shift_ends_in_any_case_after_its_hours(here: Room) -> None:
    client = here.client()
    here.begin(client, LEAD)
    for _ in range(4):
        here.clock.turn(hours=2.9)
        assert at_work(client, LEAD)
    here.clock.turn(hours=0.5)
    assert not at_work(client, LEAD)


def test_a_shift_ends_with_the_authorisation(here: Room) -> None:
    here.clock.now = here.clock.now.replace(month=6, day=30, hour=23, minute=30)
    client = here.client()
    assert here.begin(client, ATTENDANT) == 303
    here.clock.turn(hours=1)
    assert not at_work(client, ATTENDANT)
    refused = client.post("/shift/open", data={"who": ATTENDANT})
    assert refused.status_code == 403 and "ran out on 30 Jun 2031" in refused.text


def test_a_clock_set_back_renews_nobody(here: Room) -> None:
    here.clock.now = here.clock.now.replace(month=7)
    with open_site(here.folder, here.clock) as site:
        authorise(site, "NEW", "NW", "attendant", None, None, by=LEAD, station="desk")
    here.clock.now = here.clock.now.replace(month=5)
    assert here.begin(here.client(), ATTENDANT) == 403


def test_a_site_that_only_warns_lets_changes_go_on_and_says_so(here: Room) -> None:
    with open_site(here.folder, here.clock) as site:
        authorise(site, TECHNICIAN, "TE", "technician", LAST_DAY, None, by=LEAD, station="desk")
    here.settings(run_out='"warn"')
    here.clock.now = here.clock.now.replace(month=7)
    client = here.client()
    assert here.begin(client, TECHNICIAN) == 303
    page = shown(client)
    assert "<dd>attendant</dd>" in page and "ran out on 30 Jun 2031" in page
    assert "ran out on 30 Jun 2031" in client.get("/care").text


def test_the_first_person_of_a_site_records_himself(client: TestClient) -> None:
    assert "Nobody is recorded at this site yet" in shown(client)
    answer = client.post("/shift/first", data={"who": "sw", "initials": "SW"})
    assert answer.status_code == 200 and "<dd>supervisor</dd>" in answer.text
    again = client.post("/shift/first", data={"who": "XX", "initials": "XX"})
    assert again.status_code == 400, "afterwards only supervisors authorise"


def test_language_and_units_follow_the_person_to_another_device(here: Room) -> None:
    first, second = here.client(), here.client()
    here.begin(first, TECHNICIAN)
    first.post("/shift/reading", data={"language": "es", "units": "us"})
    assert '<html lang="es">' in shown(first)
    assert '<html lang="en">' in shown(second)
    here.begin(second, TECHNICIAN)
    assert '<html lang="es">' in shown(second)
    here.begin(second, LEAD)
    assert '<html lang="en">' in shown(second)


def test_without_a_person_the_choice_is_this_browsers(here: Room) -> None:
    client = here.client()
    client.post("/shift/reading", data={"language": "es"})
    assert '<html lang="es">' in shown(client)


@pytest.mark.parametrize(
    "back", ["//evil.example/", "https://evil.example/", "/\\evil.example", "x", "/\r\nX: y"]
)
def test_a_form_never_leads_to_another_host(here: Room, back: str) -> None:
    answer = here.client().post("/shift/open", data={"who": LEAD, "back": back})
    assert answer.headers["location"] == "/"


def test_a_badge_shown_to_the_stations_camera_begins_a_shift(lan: Room) -> None:
    """The picture comes over a WebSocket; the pages of the same browser know the person then."""

    @lan.app.websocket("/shown")
    async def shown_to(socket: WebSocket) -> None:
        await socket.accept()
        pin = socket.query_params.get("pin")
        with lan.app.state.door.borrow() as site:
            try:
                open_shift(socket, site, lan.badge(ATTENDANT), pin=pin)
            except NotAllowed as refused:
                await socket.send_text(refused.problem)
            else:
                await socket.send_text(visitor_of(socket, site).person or "")
        await socket.close()

    station, address = lan.station(), f"wss://{HOST}/shown"
    with station.websocket_connect(address) as socket:
        assert socket.receive_text() == ATTENDANT
    assert at_work(station, ATTENDANT)
    with station.websocket_connect(f"{address}?pin={PIN}") as socket:
        assert "PIN is not taken here" in socket.receive_text()
    with lan.client().websocket_connect(address) as socket:
        assert "not a station" in socket.receive_text()


def test_a_pin_gives_the_browser_another_cookie(here: Room) -> None:
    here.give_pin()
    client = here.client()
    before = client.cookies["tagkit"]
    here.begin(client, LEAD, PIN)
    after = client.cookies["tagkit"]
    assert before != after and before.split(".")[0] == after.split(".")[0]
    thief = here.client()
    thief.cookies.clear()
    thief.cookies.set("tagkit", before, "127.0.0.1", "/")
    assert not at_work(thief, LEAD)
