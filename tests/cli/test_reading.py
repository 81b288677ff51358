"""``tagkit read``: labels from pictures and videos, and the station in text."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import cv2
import numpy as np
import pytest
from battery_room import Attendant, BatteryRoom, Outcome, run
from scenes import clutter, flat_symbol, scene
from tagkit.assets.tag import Kind, tag_for
from tagkit.jobs.hold import hold
from tagkit.jobs.seen import log_seen

BATTERY, TRUCK = "B-QM-00417-D", str(tag_for(Kind.TRUCK, "QM", 9))


def picture(path: Path, texts: Sequence[str], seed: int = 1) -> Path:
    shown = scene(list(texts), seed, width=640, height=480, module=4.0, tilt=5.0, turn=0.0)
    assert cv2.imwrite(str(path), shown.grey)
    return path


def video(path: Path, shots: Sequence[str | None], frames: int = 4) -> Path:
    """A film that shows each label for some frames; None shows the floor."""
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"MJPG"), 10, (480, 360))
    for number, text in enumerate(shots):
        for _ in range(frames):
            grey = np.full((360, 480), 140 + number, np.uint8)
            if text is not None:
                art = flat_symbol(text, 6)
                grey[40 : 40 + art.shape[0], 60 : 60 + art.shape[1]] = art
            writer.write(cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR))
    writer.release()
    return path


def numbers(found: Outcome) -> list[str | None]:
    return [one["tag"] for one in found.objects]


def test_two_labels_in_a_picture_are_two_lines(tmp_path: Path) -> None:
    path = picture(tmp_path / "two.png", [BATTERY, "B-QM-00418-B"])
    found = run("read", path, "--json")
    assert found.code == 0
    assert sorted(map(str, numbers(found))) == [BATTERY, "B-QM-00418-B"]
    first = found.objects[0]
    assert set(first) == {
        "schema", "source", "frame", "tag", "method", "false_match_bound", "corners",
    }  # fmt: skip
    assert (first["schema"], first["source"], first["frame"]) == (1, str(path), 0)
    assert (first["method"], first["false_match_bound"]) == ("decoded", None)
    # From the symbol's own top left, clockwise: it stands upright here.
    left_top, right_top, right_bottom, left_bottom = first["corners"]
    assert left_top[0] < right_top[0]
    assert left_top[1] < left_bottom[1]
    assert right_bottom[0] > left_bottom[0]
    plain = run("read", path)
    assert plain.code == 0
    assert f"{path}: {BATTERY}, battery" in plain.out


def test_a_foreign_code_is_said_to_be_not_ours(tmp_path: Path) -> None:
    path = picture(tmp_path / "foreign.png", ["WIFI:S:dock;;\x1b[31m"])
    found = run("read", path)
    assert found.code == 3
    assert "not one of ours: WIFI:S:dock;;" in found.out
    assert "\x1b" not in found.out
    as_json = run("read", path, "--json")
    assert as_json.code == 3
    assert as_json.objects[0]["tag"] is None
    assert as_json.objects[0]["foreign_text"].startswith("WIFI:S:dock;;")


def test_a_picture_without_a_label_ends_with_3(tmp_path: Path) -> None:
    path = tmp_path / "floor.png"
    cv2.imwrite(str(path), clutter(3, 640, 480))
    found = run("read", path)
    assert (found.code, found.out) == (3, "Nothing of ours was read.\n")
    assert run("read", path, "--json").out == ""


def test_a_broken_picture_is_named_and_the_others_are_read(tmp_path: Path) -> None:
    broken = tmp_path / "broken.png"
    broken.write_bytes(b"\x89PNG\r\n\x1a\n" + b"\0" * 50)
    alone = run("read", broken, "--json")
    assert alone.code == 2
    assert str(broken) in alone.err
    assert alone.data["error"]["exit"] == 2
    both = run("read", broken, picture(tmp_path / "good.png", [BATTERY]), "--json")
    assert both.code == 2
    assert numbers(both) == [BATTERY]
    assert str(broken) in both.err


def test_a_picture_that_is_not_there_is_not_found(tmp_path: Path) -> None:
    found = run("read", tmp_path / "none.png")
    assert found.code == 3
    assert "none.png" in found.err


def test_a_source_has_to_be_named() -> None:
    assert run("read").code == 2
    assert run("read", "a.png", "--camera", "0").code == 2


def test_a_folder_is_read_with_what_else_lies_in_it(tmp_path: Path) -> None:
    picture(tmp_path / "a.png", [BATTERY])
    picture(tmp_path / "b.png", [TRUCK])
    (tmp_path / "notes.txt").write_text("x", encoding="utf-8")
    found = run("read", tmp_path, "--json")
    assert found.code == 0
    assert numbers(found) == [BATTERY, TRUCK]


def test_a_label_in_a_video_is_told_once_while_it_is_in_view(tmp_path: Path) -> None:
    film = video(tmp_path / "film.avi", [None, TRUCK, BATTERY])
    found = run("read", film, "--json")
    assert found.code == 0
    assert numbers(found) == [TRUCK, BATTERY]
    assert found.objects[0]["frame"] in range(4, 8)


# The station in text


@pytest.fixture
def charged(room: BatteryRoom) -> BatteryRoom:
    room.charge("B1", "B2")
    return room


def station(room: BatteryRoom, film: Path, *steps: tuple[str, str]) -> Outcome:
    attendant = Attendant(*steps)
    options = ("--change", "--by", "KM", "--station", "bay-1")
    found = room.run("read", film, *options, keyboard=attendant)
    assert attendant.missed is None, f"“{attendant.missed}” was never shown:\n{found.out}"
    return found


def test_truck_and_battery_shown_and_two_presses_log_the_change(
    charged: BatteryRoom, tmp_path: Path
) -> None:
    film = video(tmp_path / "film.avi", [charged["T1"], None, charged["B1"]])
    found = station(charged, film, ("[OK]", ""), ("[OK]", ""), ("[LOGGED]", "q"))
    assert found.code == 0
    (event,) = charged.events("changed")
    assert (event.by, event.station) == ("KM", "bay-1")
    assert (event.body["truck"], event.body["battery_in"]) == (charged["T1"], charged["B1"])
    assert charged.place("B1") == "T1"
    assert "\x1b" not in found.out


def test_labels_alone_log_nothing(charged: BatteryRoom, tmp_path: Path) -> None:
    film = video(tmp_path / "film.avi", [charged["T1"], None, charged["B1"]])
    found = station(charged, film, ("[OK]", "q"))
    assert found.code == 0
    assert charged.events("changed") == []


def test_a_battery_that_does_not_fit_is_never_logged(charged: BatteryRoom, tmp_path: Path) -> None:
    film = video(tmp_path / "film.avi", [charged["T1"], None, charged["LIGHT"]])
    found = station(
        charged, film, ("[STOP]", ""), ("", ""), ("", "1"), ("", "r SW the truck is waiting"),
        ("", "r KM please"), ("", "q"),
    )  # fmt: skip
    assert found.code == 0
    assert "[OK]" not in found.out
    assert charged.events("changed") == []
    assert charged.events("released") == []


def test_numbers_may_be_typed(charged: BatteryRoom, tmp_path: Path) -> None:
    film = video(tmp_path / "film.avi", [None])
    found = station(
        charged, film, ("[ ]", charged["T1"].lower().replace("-", " ")), ("[ ]", charged["B1"]),
        ("[OK]", ""), ("[OK]", ""), ("[LOGGED]", "q"),
    )  # fmt: skip
    assert found.code == 0
    assert charged.place("B1") == "T1"


def test_a_mistyped_number_is_told(charged: BatteryRoom, tmp_path: Path) -> None:
    film = video(tmp_path / "film.avi", [None])
    found = station(charged, film, ("[ ]", "T-QM-00001-9"), ("check character", "q"))
    assert found.code == 0


def test_the_change_can_be_undone_at_the_station(charged: BatteryRoom, tmp_path: Path) -> None:
    film = video(tmp_path / "film.avi", [charged["T1"], None, charged["B1"]])
    found = station(
        charged, film, ("[OK]", ""), ("[OK]", ""), ("[LOGGED]", "u"), ("[?]", ""),
        ("[LOGGED]", "q"),
    )  # fmt: skip
    assert found.code == 0
    assert charged.place("B1") == "C1"
    assert [event.voided for event in charged.events("changed")] == [True]


def test_a_supervisor_releases_an_unready_battery_at_the_station(
    charged: BatteryRoom, tmp_path: Path
) -> None:
    charged.staff()
    film = video(tmp_path / "film.avi", [charged["T1"], None, charged["B3"]])
    found = station(
        charged, film, ("[STOP]", "r KM full by the gauge"),
        ("not a supervisor", "r SW full by the gauge"), ("[OK]", ""), ("[OK]", ""), ("[LOGGED]", "q"),
    )  # fmt: skip
    assert found.code == 0
    (event,) = charged.events("changed")
    release = event.body["release"]
    assert (release["by"], release["reason"]) == ("SW", "full by the gauge")
    assert len(release["lifts"]) == 1 and "the record does not say" in release["lifts"][0]


class Hurried(Attendant):
    """Whatever is recorded meanwhile, this one's keys are meant for what stands on the screen."""

    def __init__(self, meanwhile: Callable[[], None], *steps: tuple[str, str]) -> None:
        super().__init__(*steps)
        self.meanwhile = meanwhile

    def __iter__(self) -> Iterator[str]:
        for number, typed in enumerate(super().__iter__()):
            if number == 0:
                self.meanwhile()
            yield typed


def hurried(room: BatteryRoom, film: Path, reason: str, *steps: tuple[str, str]) -> Outcome:
    def held() -> None:
        with room.open() as site:
            hold(site, room["B3"], reason, safety=False, by="SW", station="office")

    attendant = Hurried(held, *steps)
    options = ("--change", "--by", "KM", "--station", "bay-1")
    found = room.run("read", film, *options, keyboard=attendant)
    assert attendant.missed is None, f"“{attendant.missed}” was never shown:\n{found.out}"
    return found


def test_a_hold_set_while_the_release_is_typed_is_not_released(
    charged: BatteryRoom, tmp_path: Path
) -> None:
    charged.staff()
    film = video(tmp_path / "film.avi", [charged["T1"], None, charged["B3"]])
    release = "r SW full by the gauge"
    hurried(charged, film, "wash it", ("[STOP]", release), ("NOT released", release),
            ("[OK]", ""), ("[OK]", ""), ("[LOGGED]", "q"))  # fmt: skip
    assert len(charged.events("changed")) == 1


def test_enter_does_not_answer_a_screen_that_was_not_shown(
    charged: BatteryRoom, tmp_path: Path
) -> None:
    """The battery is recorded in another truck while somebody is about to take the old one out."""
    film = video(tmp_path / "film.avi", [charged["T1"], None, charged["B1"]])

    def moved() -> None:
        with charged.open() as site:
            log_seen(site, charged["B1"], charged["T2"], by="SW", station="office")

    attendant = Hurried(moved, ("[OK]", ""), ("OTHERWISE", "q"))
    options = ("--change", "--by", "KM", "--station", "bay-1")
    found = charged.run("read", film, *options, keyboard=attendant)
    assert attendant.missed is None, found.out
    assert "The screen has changed since" in found.out


def test_the_battery_out_and_its_charger_are_asked_about_and_logged(
    charged: BatteryRoom, tmp_path: Path
) -> None:
    assert charged.run("swap", "T1", "B1", "--by", "KM").code == 0
    film = video(tmp_path / "film.avi", [charged["T1"], None, charged["B2"]])
    found = station(
        charged, film, (charged["B1"], charged["C2"]), (charged["C2"], ""), ("[OK]", ""),
        ("[LOGGED]", "q"),
    )  # fmt: skip
    assert found.code == 0
    assert (charged.place("B2"), charged.place("B1")) == ("T1", "C2")
    assert charged.state("B1").charging


def test_the_end_of_input_ends_the_station(charged: BatteryRoom, tmp_path: Path) -> None:
    film = video(tmp_path / "film.avi", [None])
    assert charged.run("read", film, "--change", "--by", "KM").code == 0


def test_a_foreign_code_at_the_station_is_no_battery(charged: BatteryRoom, tmp_path: Path) -> None:
    film = video(tmp_path / "film.avi", ["https://example.org/x"])
    found = station(charged, film, ("ours", "q"))
    assert found.code == 0
