"""What a station takes and what it does not: presses, cards, holds, whoever is not at work."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from station_room import BatteryRoom, station_room
from tagkit.assets.card import Command, CommandCard
from tagkit.assets.tag import parse_tag
from tagkit.jobs.hold import hold
from tagkit.jobs.site import Site
from tagkit.language.words import Words
from tagkit.reader.read import Read
from tagkit.web.booth.booth import A_GLANCE, FORSAKEN, Booth
from tagkit.web.booth.tower import LightTower
from tagkit.web.booth.view import view_of

WORDS = Words("en", "metric", None)
CORNERS = ((10.0, 10.0), (90.0, 10.0), (90.0, 90.0), (10.0, 90.0))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> BatteryRoom:
    return station_room(tmp_path_factory.mktemp("booth") / "site")


@pytest.fixture
def room(made: BatteryRoom, tmp_path: Path) -> BatteryRoom:
    return made.moved_to(tmp_path / "site")


@pytest.fixture
def site(room: BatteryRoom) -> Iterator[Site]:
    with room.open() as opened:
        yield opened


class Clock:
    """Seconds that pass when a test says so."""

    now = 100.0

    def __call__(self) -> float:
        return self.now

    def wait(self, seconds: float = A_GLANCE + 0.1) -> None:
        self.now += seconds


class Station:
    """A booth with somebody at it."""

    def __init__(self, site: Site, room: BatteryRoom, by: str | None = "KM") -> None:
        self.site, self.room, self.by, self.clock = site, room, by, Clock()
        self.booth = Booth("bay-1", self.clock)

    @property
    def now(self):
        return self.booth.facing(self.site, self.by)

    @property
    def view(self):
        return view_of(self.now, WORDS)

    @property
    def stage(self) -> str:
        return self.view.stage

    def show(self, *names: str, method: str = "decoded") -> None:
        reads = [
            Read(parse_tag(self.room[name]), self.room[name], method, None, CORNERS, "test")
            for name in names
        ]  # fmt: skip
        self.booth.labels(self.site, self.by, reads)

    def press(self, offer: int = 0, number: int | None = None) -> None:
        self.booth.press(self.site, self.by, self.now.number if number is None else number, offer)

    def card(self, command: Command, site: str = "QM") -> None:
        self.booth.command(self.site, self.by, CommandCard(site, command))


@pytest.fixture
def station(site: Site, room: BatteryRoom) -> Station:
    return Station(site, room)


def test_a_plain_change_takes_two_presses(station: Station) -> None:
    station.show("T1", "F1")
    assert (station.view.posture, station.view.word, station.view.more) == (
        "go",
        "FIT",
        "and ready",
    )
    told = [row.text.partition(":")[0] for row in station.view.rows if row.kind == "check"]
    assert told == ["voltage", "weight", "chemistry"]
    for _ in range(2):
        station.clock.wait()
        station.press()
    assert station.stage == "logged"
    assert station.room.place("F1") == "T1"


def test_a_battery_that_is_released_is_not_called_ready(station: Station) -> None:
    station.show("T1", "RESTS")
    assert station.view.posture == "stop"
    station.booth.release(station.site, station.by, station.now.number, "SW", "the truck is needed")
    assert (station.view.posture, station.view.more) == ("go", "released for this use")


def test_a_hold_set_while_the_supervisor_types_is_not_released(station: Station) -> None:
    station.show("T1", "RESTS")
    begun = station.now.number
    hold(station.site, station.room["RESTS"], "wash it", safety=False, by="SW", station="office")
    assert station.now.number != begun
    station.booth.release(station.site, station.by, begun, "SW", "the truck is needed")
    assert station.view.posture == "stop"
    assert "NOT released" in station.view.notice and "wash it" in station.view.notice
    station.booth.release(station.site, station.by, station.now.number, "SW", "washed now")
    assert station.view.posture == "go"


def test_a_release_for_a_screen_that_never_was_does_nothing(station: Station) -> None:
    station.show("T1", "RESTS")
    for number in (0, -1, station.now.number + 1):
        station.booth.release(station.site, station.by, number, "SW", "the truck is needed")
        assert station.view.posture == "stop" and "changed since" in station.view.notice


def test_a_press_meant_for_the_screen_before_does_nothing(station: Station) -> None:
    station.show("T1", "F1")
    before = station.now.number
    station.clock.wait()
    station.press()
    assert station.stage == "finish"
    station.clock.wait()
    station.press(number=before)
    assert station.stage == "finish"
    assert "changed since" in station.view.notice
    assert station.room.place("F1") != "T1"


def test_a_press_that_bounces_does_not_log(station: Station) -> None:
    station.show("T1", "F1")
    station.clock.wait()
    station.press()
    station.clock.wait(A_GLANCE / 2)
    station.press()
    assert station.stage == "finish"
    assert "before this screen could be read" in station.view.notice
    station.clock.wait()
    station.press()
    assert station.stage == "logged"


@pytest.mark.parametrize("offer", [-1, 7, 99])
def test_an_offer_that_is_not_there_does_nothing(station: Station, offer: int) -> None:
    station.show("T1", "F1")
    station.clock.wait()
    station.press(offer)
    assert station.stage == "out"


def test_a_hold_placed_meanwhile_stops_the_change(station: Station) -> None:
    station.show("T1", "F1")
    station.clock.wait()
    station.press()
    hold(station.site, station.room["F1"], "leaks", safety=True, by="SW", station="desk")
    assert station.view.posture == "stop"
    station.clock.wait()
    station.press()
    assert station.room.place("F1") != "T1"


def test_nobody_on_shift_sees_the_answer_and_logs_nothing(site: Site, room: BatteryRoom) -> None:
    station = Station(site, room, by=None)
    station.show("T1", "F1")
    assert station.view.posture == "go"
    for _ in range(2):
        station.clock.wait()
        station.press()
    assert station.stage == "finish"
    assert "begun a shift" in station.view.notice
    assert room.place("F1") != "T1"


def test_a_change_that_nobody_goes_on_with_is_put_back(station: Station) -> None:
    station.show("T1", "F1")
    station.clock.wait()
    station.press()
    assert station.stage == "finish"
    number = station.now.number
    station.clock.wait(FORSAKEN + 1)
    station.press(number=number)
    assert station.stage == "show"
    assert station.room.place("F1") != "T1"


def test_next_does_what_the_large_button_does_and_log_only_logs(station: Station) -> None:
    station.card(Command.NEXT)
    assert "Show a truck" in station.view.notice
    station.show("T1", "F1")
    station.clock.wait()
    station.card(Command.LOG)
    assert station.stage == "out"
    assert "nothing to log yet" in station.view.notice
    station.card(Command.NEXT)
    assert station.stage == "finish"
    station.card(Command.LOG)
    assert station.stage == "finish"  # it came in the same moment: nobody has read this screen
    station.clock.wait()
    station.card(Command.LOG)
    assert station.stage == "logged"


def test_next_is_no_supervisor(station: Station) -> None:
    station.show("T1", "RESTS")
    station.clock.wait()
    station.card(Command.NEXT)
    assert station.stage == "show"
    assert station.room.place("RESTS") != "T1"


def test_a_card_of_another_site_does_nothing(station: Station) -> None:
    station.show("T1", "F1")
    station.clock.wait()
    station.card(Command.NEXT, "ZZ")
    assert station.stage == "out"
    assert "another site" in station.view.notice


def test_undo_takes_back_what_is_under_way_then_the_last_change(station: Station) -> None:
    station.show("T1", "F1")
    station.clock.wait()
    station.press()
    station.clock.wait()
    station.press()
    station.show("T2")
    station.card(Command.UNDO)
    assert station.stage == "show"
    station.card(Command.UNDO)
    assert station.stage == "undo"
    assert station.room.place("F1") == "T1"
    station.clock.wait()
    station.press()
    assert station.room.place("F1") != "T1"


def test_hold_asks_why_and_one_press_holds(station: Station) -> None:
    station.card(Command.HOLD)
    assert "Show what is to be held" in station.view.notice
    station.show("F2")
    station.card(Command.HOLD)
    assert (station.stage, station.view.posture) == ("hold", "ask")
    assert station.room.state("F2").holds == []
    station.clock.wait()
    station.press(len(station.view.offers) - 1)  # not to be held after all
    assert station.stage == "show"
    station.card(Command.HOLD)
    station.clock.wait()
    station.press(4)
    (held,) = station.room.state("F2").holds
    assert held["by"] == "KM"


def test_what_is_shown_wins_by_one_press_and_the_lead_is_told(station: Station) -> None:
    assert station.room.run("swap", "T1", "F1", "--by", "TS").code == 0
    station.show("T2", "F1")
    assert (station.view.posture, station.view.word) == ("ask", "THE RECORD SAYS OTHERWISE")
    station.clock.wait()
    station.press()
    assert station.view.posture in ("go", "stop")  # used since it was charged: the record asks on
    assert station.now.screen.stage != "question"


def test_several_batteries_in_view_are_a_choice(station: Station) -> None:
    station.show("T1", "F1", "F2")
    assert station.view.word == "WHICH ONE?"
    station.clock.wait()
    station.card(Command.NEXT)  # nobody's choice
    assert station.view.notice == "Press the one that you mean"
    assert (station.view.word, station.view.leads) == ("WHICH ONE?", False)
    chosen = station.booth.press(station.site, "KM", station.now.number, 1)
    assert str(chosen) == station.room["F2"]
    assert station.view.posture == "go"


def test_a_recovered_number_keeps_its_end_back_wherever_it_is_shown(station: Station) -> None:
    station.show("T1")
    station.show("F1", method="recovered")
    view = station.view
    assert (view.posture, view.asks) == ("ask", "characters")
    number = station.room["F1"]
    end = number.replace("-", "")[-4:]
    assert number not in repr(view) and number[-4:] not in repr(view)
    station.booth.typed(station.site, "KM", end)
    assert station.view.posture == "go"


def test_a_scanned_label_is_a_decoded_one(station: Station) -> None:
    station.show("T1")
    station.show("F1", method="recovered")
    assert station.booth.scanned(station.site, "KM", f"]Q1{station.room['F1']}\r") is None
    assert station.view.posture == "go"
    station.booth.scanned(station.site, "KM", "SOMETHING ELSE 123")
    assert "Not one of ours" in station.view.notice


def test_a_card_is_scanned_as_well_as_shown(station: Station) -> None:
    card = CommandCard("QM", Command.NEXT)
    assert station.booth.scanned(station.site, "KM", str(card)) == card


def test_the_truck_that_stays_in_view_need_not_be_shown_again(station: Station) -> None:
    station.show("T1", "F1")
    for _ in range(2):
        station.clock.wait()
        station.press()
    truck = Read(parse_tag(station.room["T1"]), station.room["T1"], "decoded", None, CORNERS, "t")
    battery = Read(parse_tag(station.room["F2"]), station.room["F2"], "decoded", None, CORNERS, "t")
    station.booth.labels(station.site, "KM", [battery], [truck])
    assert station.stage == "out"
    assert f"Battery out: {station.room['F1']}" in [row.text for row in station.view.rows]


def test_the_screen_number_stands_while_only_a_notice_comes(station: Station) -> None:
    station.show("T1", "F1")
    number = station.now.number
    station.booth.foreign(station.site, "KM", "a maker's code")
    assert "Not one of ours" in station.view.notice
    assert station.now.number == number


def test_steps_of_the_site_are_taken_at_once(site: Site, room: BatteryRoom) -> None:
    text = (room.folder / "site.toml").read_text(encoding="utf-8")
    text = text.replace("brake, seated, retainer, cable, connected, works", "brake, Wedge in place")
    (room.folder / "site.toml").write_text(text, encoding="utf-8")
    with room.open() as edited:
        station = Station(edited, room)
        station.show("T1", "F1")
        station.clock.wait()
        station.press()
        assert station.view.steps == ("Brake set, key off", "Wedge in place")


def test_the_light_tower_shows_the_latest_answer_and_holds_nothing_up(tmp_path: Path) -> None:
    shown = tmp_path / "shown.txt"
    script = tmp_path / "tower.py"
    script.write_text(
        "import sys, time\ntime.sleep(0.05)\n"
        f"open({str(shown)!r}, 'a').write(' '.join(sys.argv[1:]) + '\\n')\n",
        encoding="utf-8",
    )
    tower = LightTower()
    command = f"'{sys.executable}' '{script}'"
    for posture in ("wait", "ask", "stop", "go"):
        tower.show(command, posture, "bay-1")
    end = time.monotonic() + 90
    while time.monotonic() < end and "go bay-1" not in _text(shown):
        time.sleep(0.02)
    assert _text(shown).splitlines()[-1] == "go bay-1"
    tower.show("no-such-program-anywhere", "stop", "bay-1")  # is logged, and that is all


def _text(path: Path) -> str:
    return path.read_text(encoding="utf-8") if path.exists() else ""
