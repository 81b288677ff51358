"""Changes at the station's page in a real browser, with a camera that labels are shown to."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import TYPE_CHECKING

import pytest
from cable import Cable
from fake_camera import FakeCamera
from serving_sites import Served
from station_room import BatteryRoom, station_room
from tagkit.assets.card import Command, CommandCard, badge_for
from tagkit.jobs.hold import hold
from tagkit.jobs.roster import roster_of

if TYPE_CHECKING:
    from playwright.sync_api import Page

GLANCE = 0.45  # nobody reads a screen sooner, and the station takes no press for it


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> BatteryRoom:
    return station_room(tmp_path_factory.mktemp("station") / "site")


@pytest.fixture(scope="module")
def site(room: BatteryRoom, served: Callable[..., Served]) -> Served:
    return served(room.folder)


# All at one moment: the screen is drawn anew whenever the record or the reader has news.
MEASURED = """posture => {
    const answer = document.querySelector(`#screen .answer.${posture}`);
    if (!answer?.checkVisibility()) return null;
    const high = (one) => one?.getBoundingClientRect().height ?? 0;
    const keys = [...document.querySelectorAll("#screen .key, .tools .key, #typed")];
    return {
        word: high(document.querySelector("#screen .word")),
        sign: high(document.querySelector("#screen .sign svg")),
        wide: document.documentElement.scrollWidth,
        small: keys.filter((key) => key.checkVisibility() && high(key) < 96)
            .map((key) => key.innerText || key.id),
    };
}"""


class AtTheStation:
    """Somebody who stands at the station: shows labels, looks, presses."""

    def __init__(self, page: Page, camera: FakeCamera, room: BatteryRoom) -> None:
        self.page, self.camera, self.room = page, camera, room

    def show(self, *names: str) -> None:
        """Hold up labels of assets by their names, or cards by their text."""
        self.camera.show(*(self.room.tags.get(name, name) for name in names))

    def hold_up(self, card: str) -> None:
        """A card, after a look at the screen."""
        time.sleep(GLANCE)
        self.camera.show(card)

    def see(self, posture: str, words: str = "") -> None:
        """Wait for an answer."""
        answer = self.page.locator(f"#screen .answer.{posture}")
        answer.wait_for(state="visible")
        if words:
            self.page.locator("#screen", has_text=words).wait_for()

    def stage(self, name: str) -> None:
        self.page.locator(f'#screen .answer[data-stage="{name}"]').wait_for()

    def press(self, key: str = "Enter") -> None:
        """After a look at the screen."""
        time.sleep(GLANCE)
        self.page.keyboard.press(key)

    def say(self, name: str) -> None:
        """Press the key with these words."""
        time.sleep(GLANCE)
        self.page.get_by_role("button", name=name).click()

    def type(self, text: str) -> None:
        self.page.locator("#typed").fill(text)
        self.page.locator("#typed").press("Enter")

    def scan(self, text: str) -> None:
        """A handheld scanner types the code at once, wherever the cursor is."""
        self.page.evaluate(
            """text => {
                for (const key of [...text, "Enter"]) {
                    const on = document.activeElement ?? document.body;
                    const kind = { key, bubbles: true, cancelable: true };
                    if (on.dispatchEvent(new KeyboardEvent("keydown", kind))
                        && key.length === 1 && on.matches("input")) on.value += key;
                }
            }""",
            text,
        )

    def notice(self) -> str:
        said = self.page.locator("#screen .said")
        said.wait_for()
        return str(said.inner_text())


@pytest.fixture
def station(
    page: Page, camera: FakeCamera, room: BatteryRoom, site: Served
) -> Iterator[AtTheStation]:
    """The station's page, waiting for the next truck."""
    camera.show()
    with room.open() as opened:
        site.app.state.floor.booth("desk").again(opened, "TS")
    page.goto(f"{site.address}/station")
    at = AtTheStation(page, camera, room)
    at.stage("show")
    page.wait_for_function("() => document.getElementById('video').readyState >= 2")
    yield at
    camera.show()


def test_truck_and_battery_shown_enter_twice_and_the_change_is_in_the_record(
    station: AtTheStation, room: BatteryRoom
) -> None:
    station.show("T1", "F1")
    station.see("go", "FIT")
    # What was seen is outlined in the picture.
    assert station.page.locator("#marks polygon.sure").count() == 2
    assert set(station.page.locator("#marks text").all_text_contents()) == {room["T1"], room["F1"]}
    station.press()
    station.stage("finish")
    assert "Brake set" in station.page.locator("#screen .steps").inner_text()
    assert room.place("F1") != "T1"
    station.press()
    station.stage("logged")
    assert room.place("F1") == "T1"
    (change,) = [event for event in room.events("changed") if event.body["truck"] == room["T1"]]
    assert change.by == "TS"
    assert change.body["verdict"]["verdict"] == "fit"


def test_the_battery_out_is_inferred_and_goes_to_the_charger_that_is_shown(
    station: AtTheStation, room: BatteryRoom
) -> None:
    assert room.run("swap", "T2", "F2", "--by", "TS").code == 0
    station.show("T2", "F3")
    station.see("go", f"Battery out: {room['F2']}")
    station.show("C2")
    station.see("go", f"It goes to: {room['C2']}")
    station.press()
    station.stage("finish")
    station.press()
    station.stage("logged")
    assert (room.place("F3"), room.place("F2")) == ("T2", "C2")


def test_the_answer_is_large_and_green_is_for_fit_and_ready_alone(station: AtTheStation) -> None:
    page = station.page
    sizes = {"desk": (1440, 900), "tablet": (820, 1180), "lying tablet": (1180, 820),
             "phone": (390, 844)}  # fmt: skip
    for labels, posture in (
        ((), "wait"), (("LIGHT",), "stop"), (("F4",), "go"), (("F6", "F7"), "ask")
    ):  # fmt: skip
        if labels:
            station.show("T3", *labels)
        station.see(posture)
        for where, (width, height) in sizes.items():
            page.set_viewport_size({"width": width, "height": height})
            found = page.wait_for_function(MEASURED, arg=posture).json_value()
            assert found["sign"] or posture == "wait"
            assert found["word"] >= 0.12 * height, (where, posture)
            assert found["wide"] <= width, where
            assert found["small"] == [], (where, posture)


def test_no_fit_says_why_and_nothing_can_be_logged(
    station: AtTheStation, room: BatteryRoom
) -> None:
    before = room.count()
    station.show("T4", "LIGHT")
    station.see("stop", "NO FIT")
    station.see("stop", "too light by 120 kg")
    assert station.page.evaluate("document.body.dataset.sounded") == "stop"
    station.press()  # the large button only starts again
    station.stage("show")
    assert room.count() == before


def test_not_confirmed_stops_until_it_is_married(station: AtTheStation, room: BatteryRoom) -> None:
    station.show("T4", "NEW")
    station.see("stop", "NOT CONFIRMED")
    station.see("stop", "married")


def test_not_ready_stops_and_a_supervisor_releases(
    station: AtTheStation, room: BatteryRoom
) -> None:
    station.show("T5", "RESTS")
    station.see("stop", "DO NOT USE")
    page = station.page
    page.set_viewport_size({"width": 390, "height": 844})
    page.get_by_label("Supervisor’s code").fill("KM")
    page.get_by_label("Reason").fill("truck is needed")
    page.get_by_role("button", name="Release for this use").click()
    assert "not a supervisor" in station.notice()
    # On a phone too what is said is in sight, not the form below it.
    assert page.evaluate("document.getElementById('screen').getBoundingClientRect().top") >= 0
    station.see("stop")
    page.get_by_label("Supervisor’s code").fill("SW")
    page.get_by_label("Reason").fill("truck is needed, measured 31 °C")
    page.get_by_role("button", name="Release for this use").click()
    station.see("go", "Released by SW")
    station.press()
    station.stage("finish")
    station.press()
    station.stage("logged")
    assert room.place("RESTS") == "T5"


def test_a_hold_set_while_the_pin_is_typed_is_not_released(
    station: AtTheStation, room: BatteryRoom
) -> None:
    station.show("T13", "RESTS3")
    station.see("stop", "DO NOT USE")
    station.page.get_by_label("Supervisor’s code").fill("SW")
    with room.open() as site:
        hold(site, room["RESTS3"], "wash it first", safety=False, by="SW", station="office")
    station.see("stop", "wash it first")  # it stands there, and nobody who types looks up
    station.page.get_by_label("Reason").fill("truck is needed")
    station.page.get_by_role("button", name="Release for this use").click()
    assert "NOT released" in station.notice()
    station.see("stop")
    station.page.get_by_label("Supervisor’s code").fill("SW")
    station.page.get_by_label("Reason").fill("washed, and needed")
    station.page.get_by_role("button", name="Release for this use").click()
    station.see("go", "Released by SW")


PRESSED_AT_ONCE = """how => new Promise((pressed) => {
    const screen = document.getElementById("screen");
    new MutationObserver((_, watching) => {
        if (!screen.querySelector("[data-stage=finish]")) return;
        watching.disconnect();
        const enter = { key: "Enter", bubbles: true, cancelable: true };
        if (how === "click") document.getElementById("next").click();
        else document.body.dispatchEvent(new KeyboardEvent("keydown", enter));
        pressed();
    }).observe(screen, { childList: true });
    document.getElementById("next").click();
})"""


def behind(
    cable: Cable, page: Page, camera: FakeCamera, room: BatteryRoom, site: Served
) -> AtTheStation:
    """The station reached over this cable, begun again."""
    camera.show()
    with room.open() as opened:
        site.app.state.floor.booth("desk").again(opened, "TS")
    page.goto(f"{cable.address}/station")
    station = AtTheStation(page, camera, room)
    station.stage("show")
    return station


@pytest.mark.parametrize(
    ("how", "truck", "battery"), [("click", "T14", "F19"), ("Enter", "T15", "F20")]
)
def test_over_a_slow_line_no_press_confirms_a_step_that_nobody_has_read(
    page: Page, camera: FakeCamera, room: BatteryRoom, site: Served, how: str, truck: str,
    battery: str,
) -> None:  # fmt: skip
    """The station has shown the last step for a second, the page for no time at all."""
    cable = Cable(site.port)
    station = behind(cable, page, camera, room, site)
    station.show(truck, battery)
    station.see("go")
    cable.slow = 1.0
    time.sleep(GLANCE)
    page.evaluate(PRESSED_AT_ONCE, how)
    assert "look again, then press" in station.notice()
    assert room.place(battery) != truck
    station.stage("finish")
    station.press()
    station.stage("logged")
    assert room.place(battery) == truck
    cable.end()


def test_a_damaged_label_is_made_out_and_its_end_is_typed_unseen(
    station: AtTheStation, room: BatteryRoom
) -> None:
    from worn_labels import picture

    with room.open() as opened:
        (form,) = [one for one in roster_of(opened).variants if str(one.tag) == room["F5"]]
    station.show("T6")
    station.see("wait", room["T6"])
    station.camera.look_at(picture(form.payload, 0.34, 5, mask=form.mask, module=6.0))
    station.page.set_default_timeout(200_000)
    station.see("ask", "CHECK THE NUMBER")
    assert room["F5"] not in station.page.content()
    station.type("9999")
    assert "not what the number ends in" in station.notice()
    station.type(room["F5"].replace("-", "")[-4:])
    station.see("go", room["F5"])
    station.press()
    station.stage("finish")
    station.press()
    station.stage("logged")
    (change,) = [event for event in room.events("changed") if event.body["truck"] == room["T6"]]
    assert change.body["confirmed_by_hand"] == [room["F5"]]


def test_of_two_batteries_in_view_the_person_chooses(
    station: AtTheStation, room: BatteryRoom
) -> None:
    station.show("T7", "F6", "F7")
    station.see("ask", "WHICH ONE?")
    station.press()
    assert "Press the one that you mean" in station.notice()
    station.say(room["F7"])
    station.see("go", f"Battery in: {room['F7']}")
    # The other one stays in view: it is not taken for the one that is meant.
    station.camera.show(room["T7"], room["F6"])
    time.sleep(1.6)
    station.see("go", f"Battery in: {room['F7']}")


def test_the_network_is_cut_in_between(
    page: Page, camera: FakeCamera, room: BatteryRoom, site: Served
) -> None:
    cable = Cable(site.port)
    station = behind(cable, page, camera, room, site)
    station.show("T8", "F8")
    station.see("go")
    cable.cut()
    page.locator("#cut", has_text="CONNECTION LOST").wait_for(state="visible")
    assert page.locator(".answer.go, .answer.stop").count() == 0  # no verdict stays
    page.get_by_label("Truck number").fill(room["T8"])
    page.get_by_label("Battery now in it").fill(f"{room['F8'][:-1]}?")
    page.get_by_role("button", name="Keep this note").click()
    page.locator("#note-problem", has_text="not a number of ours").wait_for()
    station.scan(room["F8"])  # the handheld scanner works without any network
    page.get_by_role("button", name="Keep this note").click()
    page.locator("#notes", has_text="kept here").wait_for()
    before = len(room.events("seen_at"))
    cable.mend()
    page.locator("#notes", has_text="recorded as seen").wait_for()
    assert len(room.events("seen_at")) == before + 1
    assert room.place("F8") == "T8"
    # The truck and battery shown before are still what this station is about.
    station.see("ask")
    page.reload()
    station.see("ask")
    assert len(room.events("seen_at")) == before + 1
    assert page.evaluate("localStorage.getItem('tagkit.noted')") == "[]"
    cable.end()


def test_a_number_is_typed_and_its_check_character_is_asked(
    station: AtTheStation, room: BatteryRoom
) -> None:
    station.type(room["T9"])
    station.see("wait", room["T9"])
    wrong = room["F9"][:-1] + ("1" if room["F9"][-1] != "1" else "2")
    station.type(wrong)
    assert "check" in station.notice()
    station.type(room["F9"].lower().replace("-", " "))
    station.see("go", room["F9"])
    station.press()  # the field is empty, so Enter in it is the next step
    station.stage("finish")
    station.press("PageDown")  # a foot switch
    station.stage("logged")
    assert room.place("F9") == "T9"


def test_a_handheld_scanner_types_wherever_the_cursor_is(
    station: AtTheStation, room: BatteryRoom
) -> None:
    page = station.page
    station.scan(room["T10"])
    station.see("wait", room["T10"])
    page.locator("#typed").focus()
    station.scan(f"]Q1{room['F10']}")
    station.see("go", room["F10"])
    assert page.locator("#typed").input_value() == ""


def test_command_cards_do_the_next_step_and_undo_it(
    station: AtTheStation, room: BatteryRoom
) -> None:
    following, log, undo = (
        str(CommandCard("QM", one)) for one in (Command.NEXT, Command.LOG, Command.UNDO)
    )
    station.show("T11", "F11")
    station.see("go")
    station.hold_up(following)
    station.stage("finish")
    assert room.place("F11") != "T11"
    station.hold_up(log)
    station.stage("logged")
    assert room.place("F11") == "T11"
    station.hold_up(undo)
    station.stage("undo")
    station.press()
    station.stage("logged")
    assert room.place("F11") != "T11"


def test_a_card_that_lies_in_view_logs_nothing(station: AtTheStation, room: BatteryRoom) -> None:
    from playwright.sync_api import TimeoutError as Late

    card = str(CommandCard("QM", Command.NEXT))
    before = room.count()
    station.show("T12", "F12")
    station.see("go")
    station.hold_up(card)
    station.stage("finish")
    said = station.page.locator("#screen .said", has_text="lies in view")
    for _ in range(6):  # a reader that is kept waiting does not see how long the card was gone
        # Somebody walks by: the card vanishes for a while and lies where it lay.
        station.camera.show()
        time.sleep(3.4)
        station.camera.show(card)
        with suppress(Late):
            said.wait_for(timeout=15_000)
            break
    assert said.is_visible()
    station.stage("finish")
    assert room.count() == before


def test_a_badge_opens_a_shift(station: AtTheStation, room: BatteryRoom) -> None:
    station.show(str(badge_for("QM", "KM")))
    station.page.locator("#initials", has_text="KM").wait_for()
    station.page.context.clear_cookies()


def test_hold_by_card_and_one_press(station: AtTheStation, room: BatteryRoom) -> None:
    station.show("F13")
    station.see("wait", room["F13"])
    station.show(str(CommandCard("QM", Command.HOLD)))
    station.stage("hold")
    station.say("Leaks, or acid on the case")
    assert "is held" in station.notice()
    assert [hold["kind"] for hold in room.state("F13").holds] == ["safety"]


def test_the_check_at_the_bay_answers_on_a_phone_and_logs_nothing(
    page: Page, camera: FakeCamera, room: BatteryRoom, site: Served
) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    with room.open() as opened:
        site.app.state.floor.booth("desk").again(opened, "TS")
        site.app.state.floor.booth("desk").typed(opened, "TS", room["T12"])
    before = room.count()
    camera.show(room["F14"])
    page.goto(f"{site.address}/check")
    bay = AtTheStation(page, camera, room)
    bay.see("wait", room["F14"])
    page.get_by_role("button", name=f"{room['T12']} T12 (desk)").click()
    bay.see("go", "FIT")
    page.keyboard.press("Enter")  # all that it offers is to start again
    bay.see("wait")
    bay.type("T5")  # a fleet number will do where nothing is logged
    bay.see("wait", room["T5"])
    bay.type(room["RESTS2"])
    bay.see("stop", "DO NOT USE")
    page.evaluate("scrollTo(0, document.body.scrollHeight)")
    assert page.evaluate("document.getElementById('screen').getBoundingClientRect().top") < 0
    bay.type(room["RESTS2"])  # the same answer again
    assert page.evaluate("document.getElementById('screen').getBoundingClientRect().top") >= 0
    bay.see("stop", "DO NOT USE")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert room.count() == before


def test_without_a_camera_the_page_says_so_and_typing_works(
    browser: object, room: BatteryRoom, site: Served, page: Page
) -> None:
    page.add_init_script(
        "navigator.mediaDevices.getUserMedia = () => "
        "Promise.reject(new DOMException('no', 'NotAllowedError'))"
    )
    page.goto(f"{site.address}/station")
    page.locator("#trouble", has_text="may not use the camera").wait_for()
    with room.open() as opened:
        site.app.state.floor.booth("desk").again(opened, "TS")
    page.locator("#typed").fill(room["T3"])
    page.locator("#typed").press("Enter")
    page.locator("#screen", has_text=room["T3"]).wait_for()


def test_numbers_are_checked_without_a_server_as_with_one(page: Page, site: Served) -> None:
    from tagkit.assets.tag import Kind, serials_after, tag_for

    page.goto(f"{site.address}/station")
    for kind in Kind:
        serials = serials_after(kind, "QM", 900)
        numbers = [str(tag_for(kind, "QM", next(serials))) for _ in range(40)]
        assert numbers == page.evaluate(
            "async numbers => { const { tagIn } = await import('/static/station/tag.js');"
            " return numbers.map(tagIn); }",
            numbers,
        )
    assert (
        page.evaluate("async () => (await import('/static/station/tag.js')).tagIn('B-QM-00417-E')")
        is None
    )
