"""Hostile input, where people type names and where people guess."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path

import pytest
from access_room import ATTENDANT, LEAD, PIN, Room, room
from argon2 import Type, extract_parameters
from tagkit.jobs.people import authorise
from tagkit.jobs.receive import receive
from tagkit.jobs.site import open_site
from tagkit.web.access import pins
from tagkit.web.access.refused import NotAllowed, TooManyTries
from tagkit.web.access.store import AccessStore

SCRIPT = '<script>alert("x")</script>'
FORMULA = '=HYPERLINK("http://evil.example";"x")'


@pytest.fixture
def lan(tmp_path: Path) -> Iterator[Room]:
    with room(tmp_path, lan=True) as made:
        yield made


@pytest.fixture
def here(tmp_path: Path) -> Iterator[Room]:
    with room(tmp_path, lan=False) as made:
        yield made


def deliver(here: Room, *serials: str) -> list[str]:
    """Take batteries in whose serials somebody thought up."""
    sheet = here.folder.parent / "delivery.csv"
    with sheet.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["kind", "serial", "voltage", "capacity", "weight", "chemistry"])
        for serial in serials:
            writer.writerow(["battery", serial, "48 V", "600 Ah", "1000 kg", "vented lead-acid"])
    with open_site(here.folder, here.clock) as site:
        received = receive(site, sheet, by=LEAD, station="desk", keep_good=True)
    return [str(row.tag) for row in received.taken]


def test_html_in_names_is_text_on_every_page(here: Room) -> None:
    with open_site(here.folder, here.clock) as site:
        authorise(site, "EVE", SCRIPT, "attendant", None, SCRIPT, by=LEAD, station="desk")
    (number,) = deliver(here, SCRIPT)
    here.settings(name=f"'{SCRIPT}'")
    client = here.client()
    here.begin(client, "EVE")
    for path in (
        "/", "/shift", "/assets", f"/A/{number}", f"/find?q={SCRIPT}", f"/shift?back={SCRIPT}",
        f"/{SCRIPT}",
    ):  # fmt: skip
        page = client.get(path, follow_redirects=True)
        assert "<script>alert" not in page.text, path
    assert "&lt;script&gt;alert" in client.get("/shift").text
    assert "&lt;script&gt;alert" in client.get("/assets").text


def test_formulas_in_exports_are_text(here: Room) -> None:
    deliver(here, FORMULA, "+1+1", "-2-3", "@SUM(A1)", "P20-1")
    told = here.client().get("/api/assets.csv")
    assert told.headers["content-type"].startswith("text/csv")
    rows = list(csv.reader(io.StringIO(told.text.removeprefix("\ufeff"))))
    names = [row[1] for row in rows[1:]]
    assert f"'{FORMULA}" in names and "P20-1" in names
    for row in rows:
        for cell in row:
            assert not cell.startswith(("=", "+", "-", "@", "\t", "\r")), cell


def test_pins_are_kept_by_argon2id_at_full_strength(tmp_path: Path) -> None:
    store = AccessStore(tmp_path)
    pins.choose_pin(store, LEAD, PIN, 0.0)
    (kept,) = store.one("SELECT hash FROM pins")
    store.close()
    strength = extract_parameters(kept)
    assert strength.type is Type.ID
    assert strength.memory_cost >= 19 * 1024 and strength.time_cost >= 2  # OWASP's least


def listened_to(lan: Room, device: str, pin: str, trusted: bool = False) -> bool:
    """One try; whether the PIN was looked at."""
    now = lan.clock().timestamp()
    try:
        pins.check_pin(lan.access, LEAD, pin, device, now, trusted)
    except TooManyTries:
        return False
    except NotAllowed:
        return True
    raise AssertionError(f"{pin} was taken")


def test_a_thousand_wrong_pins_get_nowhere(lan: Room) -> None:
    lan.give_pin()
    guesser = lan.client("192.0.2.66")
    statuses = [lan.begin(guesser, LEAD, f"{n:06}") for n in range(30)]
    assert statuses == [403] * 5 + [429] * 25
    tried = [listened_to(lan, "192.0.2.66", f"{n:06}") for n in range(30, 1000)]
    assert not any(tried)
    told = guesser.post("/shift/open", data={"who": LEAD, "pin": PIN})
    assert told.status_code == 429, "while nobody is listened to, the right one tells nothing"
    assert 0 < int(told.headers["retry-after"]) <= 15 * 60


def test_a_thousand_wrong_pins_from_many_addresses_get_nowhere(lan: Room) -> None:
    lan.give_pin()
    tried = [listened_to(lan, f"192.0.2.{n % 250}", f"{n:06}") for n in range(1000)]
    assert sum(tried) == 30


def test_the_right_person_is_not_kept_out_by_a_guesser(lan: Room) -> None:
    lan.give_pin()
    for n in range(200):
        listened_to(lan, f"192.0.2.{100 + n % 50}", f"{n:06}")
    station = lan.station()
    assert lan.begin(station, LEAD, PIN) == 303, "at a station of the site at once"
    phone = lan.client("192.0.2.20")
    for n in range(50):
        listened_to(lan, f"192.0.2.{100 + n}", f"{n:06}")
    assert lan.begin(phone, LEAD, PIN) == 429
    lan.clock.turn(minutes=61)
    assert lan.begin(phone, LEAD, PIN) == 303, "elsewhere after a while"


def test_a_slow_guesser_gets_a_few_tries_an_hour(lan: Room) -> None:
    lan.give_pin()
    listened = 0
    for minute in range(12 * 60):
        lan.clock.turn(minutes=1)
        listened += listened_to(lan, "192.0.2.66", f"{minute:06}")
    assert 5 <= listened <= 12 * 20, "a million PINs would take more than five years"


def test_an_unknown_code_is_told_like_a_wrong_pin(lan: Room) -> None:
    lan.give_pin()
    client = lan.client()
    known = client.post("/shift/open", data={"who": LEAD, "pin": "111222"})
    unknown = client.post("/shift/open", data={"who": "NOBODY", "pin": "111222"})
    assert "the PIN is wrong" in known.text and "the PIN is wrong" in unknown.text
    assert known.status_code == unknown.status_code == 403


def test_a_person_cannot_take_a_higher_role(lan: Room) -> None:
    station = lan.station()
    lan.begin(station, ATTENDANT)
    for data in (
        {"who": "MINE", "initials": "ME"},
        {"who": ATTENDANT, "role": "supervisor"},
    ):
        assert station.post("/shift/first", data=data).status_code == 403
    station.cookies.set("role", "supervisor", "room.example", "/")
    station.cookies.set("person", LEAD, "room.example", "/")
    assert station.get("/stations").status_code == 403


def test_the_file_of_shifts_opens_nothing_by_itself(lan: Room) -> None:
    """Whoever reads access.db finds no token, code or PIN in it that could be used."""
    lan.give_pin()
    station = lan.station()
    lan.begin(station, LEAD, PIN)
    kept = b"".join(path.read_bytes() for path in lan.folder.glob("access.db*"))
    assert b"$argon2id$" in kept
    assert PIN.encode() not in kept
    for cookie in station.cookies.jar:
        assert cookie.value and cookie.value.encode() not in kept
        assert cookie.value.split(".")[-1].encode() not in kept


@pytest.mark.parametrize(
    "pin", ["12345", "123456", "654321", "111111", "121212", "abcdef", "", "1" * 40]
)
def test_a_pin_that_is_easily_guessed_is_not_taken(here: Room, pin: str) -> None:
    from tagkit.errors import WrongInput

    with pytest.raises(WrongInput):
        here.give_pin(LEAD, pin)
