"""Stations of the network: enrolled by a one-time code, ended by a supervisor."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from access_room import ATTENDANT, LEAD, PIN, Room, room
from tagkit.web.access.devices import new_code


@pytest.fixture
def lan(tmp_path: Path) -> Iterator[Room]:
    with room(tmp_path, lan=True) as made:
        yield made


def test_a_supervisor_makes_a_code_and_a_device_becomes_a_station(lan: Room) -> None:
    lan.give_pin()
    desk = lan.station("desk-2")
    lan.begin(desk, LEAD, PIN)
    page = desk.post("/stations/code", data={"name": "bay-7"})
    code = re.search(r'one-time">([0-9A-Z-]{9})<', page.text)
    assert code
    assert code[1] not in desk.get("/stations").text, "it is shown once"
    tablet = lan.client("192.0.2.30")
    assert tablet.get("/assets").status_code == 403
    typed = code[1].lower().replace("-", " ")
    assert tablet.post("/stations/enrol", data={"code": typed}).status_code == 303
    assert lan.begin(tablet, ATTENDANT) == 303
    assert "bay-7" in desk.get("/stations").text


def test_a_code_works_once(lan: Room) -> None:
    code = new_code(lan.access, "bay-1", LEAD, lan.clock().timestamp())
    assert lan.client().post("/stations/enrol", data={"code": code}).status_code == 303
    assert lan.client().post("/stations/enrol", data={"code": code}).status_code == 403


def test_a_code_is_soon_too_old(lan: Room) -> None:
    code = new_code(lan.access, "bay-1", LEAD, lan.clock().timestamp())
    lan.clock.turn(minutes=16)
    assert lan.client().post("/stations/enrol", data={"code": code}).status_code == 403


def test_a_wrong_name_does_not_use_the_code_up(lan: Room) -> None:
    lan.station("bay-1")
    code = new_code(lan.access, "", LEAD, lan.clock().timestamp())
    tablet = lan.client()
    for name in ("", "bay 3", "bay-1", "<b>", "x" * 40):
        assert tablet.post("/stations/enrol", data={"code": code, "name": name}).status_code == 400
    assert tablet.post("/stations/enrol", data={"code": code, "name": "bay-3"}).status_code == 303


def test_after_some_wrong_codes_an_address_is_not_listened_to(lan: Room) -> None:
    guesser = lan.client("192.0.2.66")
    statuses = [
        guesser.post("/stations/enrol", data={"code": f"AAAA-AA{n:02}"}).status_code
        for n in range(20, 40)
    ]
    assert statuses[:5] == [403] * 5 and set(statuses[5:]) == {429}
    code = new_code(lan.access, "bay-1", LEAD, lan.clock().timestamp())
    refused = guesser.post("/stations/enrol", data={"code": code})
    assert refused.status_code == 429, "not even the right one"
    assert lan.client("192.0.2.8").post("/stations/enrol", data={"code": code}).status_code == 303


def test_an_ended_station_is_none_any_more(lan: Room) -> None:
    lan.give_pin()
    desk, tablet = lan.station("desk-2"), lan.station("bay-1")
    lan.begin(desk, LEAD, PIN)
    lan.begin(tablet, ATTENDANT)
    assert desk.post("/stations/bay-1/end").status_code == 303
    assert lan.begin(tablet, ATTENDANT) == 403
    assert desk.post("/stations/bay-1/end").status_code == 404


def test_a_supervisor_ends_the_shift_on_a_lost_tablet(lan: Room) -> None:
    lan.give_pin()
    desk, tablet = lan.station("desk-2"), lan.station("bay-1")
    lan.begin(desk, LEAD, PIN)
    lan.begin(tablet, ATTENDANT)
    page = desk.get("/stations").text
    ends = re.findall(r'action="(/stations/shifts/[0-9a-f]{64}/end)"', page)
    assert len(ends) == 2
    row = page[page.index(f"<b>{ATTENDANT}</b>") :]
    end = re.search(r'action="(/stations/shifts/[0-9a-f]{64}/end)"', row)
    assert end and tablet.post(end[1]).status_code == 403, "an attendant ends nobody's shift so"
    assert desk.post(end[1]).status_code == 303
    assert "No shift is open here" in tablet.get("/shift").text
    assert desk.get("/stations").status_code == 200


def test_only_supervisors_enrol(lan: Room) -> None:
    station = lan.station()
    lan.begin(station, ATTENDANT)
    for answer in (
        station.get("/stations"),
        station.post("/stations/code", data={"name": "x"}),
        station.post("/stations/bay-1/end"),
    ):
        assert answer.status_code == 403 and "needs a supervisor" in answer.text


def test_the_label_page_and_no_other_is_open_to_a_phone(lan: Room) -> None:
    phone = lan.client()
    for path in ("/A/B-QM-00001-X", "/a/b-qm-00001-x"):
        assert phone.get(path).status_code != 403
    for path in ("/assets", "/metrics", "/api/assets", "/api/where/B-QM-00001-X", "/rotation"):
        assert phone.get(path).status_code in (403, 404), path
    assert phone.get("/api/assets").status_code == 403
    lan.settings(lookup_by_phone="false")
    assert phone.get("/A/B-QM-00001-X").status_code == 403
