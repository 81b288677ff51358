"""A label that no decoder reads any more: from its picture to the logged change."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from battery_room import Attendant, BatteryRoom, Outcome, run
from numpy.typing import NDArray
from tagkit.reader.read import read_picture
from tagkit.reader.recovery import recover

Grey = NDArray[np.uint8]


def photographed(page: Path, share: float, seed: int) -> Grey:
    """A printed label with one symbol, which is under bleaching blotches, seen by a camera at a slant."""
    art = cv2.imread(str(page), cv2.IMREAD_GRAYSCALE)
    assert art is not None
    (read,) = read_picture(art)
    (left, top), _, (right, bottom), _ = read.corners
    rng = np.random.default_rng(seed)
    high, wide = round(bottom - top), round(right - left)
    noise = cv2.GaussianBlur(rng.normal(0, 1, (high, wide)).astype(np.float32), (0, 0), wide / 12)
    part = art[round(top) : round(top) + high, round(left) : round(left) + wide]
    part[noise > np.quantile(noise, 1 - share)] = 235
    height, width = art.shape
    scale = 300 / height
    flat = np.array([(0, 0), (width, 0), (width, height), (0, height)], np.float32)
    across = width * scale
    seen = np.array([(40, 40), (40 + across, 25), (30 + across, 330), (50, 322)])
    matrix = cv2.getPerspectiveTransform(flat, seen.astype(np.float32))
    size = (round(across) + 80, 360)
    shown = cv2.warpPerspective(
        cv2.GaussianBlur(art, (0, 0), 0.5 / scale).astype(np.float32) * 0.7 + 25, matrix, size,
        flags=cv2.INTER_AREA, borderValue=90.0,
    )  # fmt: skip
    return np.clip(shown + rng.normal(0, 3, shown.shape), 0, 255).astype(np.uint8)


@pytest.fixture(autouse=True)
def unhurried(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a busy machine too the search goes as far as on an idle one."""
    monkeypatch.setattr(recover, "SECONDS", 60.0)


@pytest.fixture
def charged(room: BatteryRoom) -> BatteryRoom:
    room.charge("B1")
    return room


@pytest.fixture
def pictures(charged: BatteryRoom, tmp_path: Path) -> Path:
    """The truck's label, clean, and the battery's, whose symbol is eaten away for two fifths."""
    folder = tmp_path / "pictures"
    folder.mkdir()
    for name, template, share in (("T1", "truck-floor", 0.0), ("B1", "battery-small", 0.4)):
        page = tmp_path / f"{name}.png"
        printed = charged.run("labels", name, "--template", template, "--out", page)
        assert printed.code == 0, printed.err
        cv2.imwrite(str(folder / f"{'ab'[bool(share)]}.png"), photographed(page, share, 7))
    return folder


def test_it_is_recovered_with_its_bound_when_the_site_is_known(
    charged: BatteryRoom, pictures: Path
) -> None:
    found = charged.run("read", pictures / "b.png", "--json")
    assert found.code == 0
    (one,) = found.objects
    assert (one["tag"], one["method"]) == (charged["B1"], "recovered")
    assert 0 < one["false_match_bound"] <= 1e-6


def test_without_a_site_or_when_only_decoding_it_stays_unread(
    charged: BatteryRoom, pictures: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    only = charged.run("read", pictures / "b.png", "--only-decode")
    assert (only.code, only.out) == (3, "Nothing of ours was read.\n")
    monkeypatch.chdir(tmp_path)
    assert run("read", pictures / "b.png", "--json").code == 3


def test_its_condition_is_judged_kept_and_marked(
    charged: BatteryRoom, pictures: Path, tmp_path: Path
) -> None:
    marked = tmp_path / "marked.png"
    found = charged.run("condition", pictures / "b.png", "--by", "JT", "--marked", marked)
    assert found.code == 0, found.err
    assert f"{charged['B1']}: reprint now" in found.out
    kept = charged.state("B1").label_condition
    assert kept is not None
    assert (kept["verdict"], kept["method"]) == ("reprint now", "recovered")
    plain, drawn = (cv2.imread(str(path)) for path in (pictures / "b.png", marked))
    assert plain is not None
    assert drawn is not None
    assert (plain != drawn[: plain.shape[0], : plain.shape[1]]).mean() > 0.01


def station(room: BatteryRoom, pictures: Path, *steps: tuple[str, str]) -> Outcome:
    attendant = Attendant(*steps)
    found = room.run("read", pictures, "--change", "--by", "KM", keyboard=attendant)
    assert attendant.missed is None, f"“{attendant.missed}” was never shown:\n{found.out}"
    return found


def test_its_last_characters_typed_unseen_let_the_change_be_logged(
    charged: BatteryRoom, pictures: Path
) -> None:
    found = station(
        charged, pictures, ("[?]", charged["B1"][-5:]), ("[OK]", ""), ("[OK]", ""),
        ("[LOGGED]", "q"),
    )  # fmt: skip
    assert found.code == 0
    asked = found.out[found.out.index("[?]") : found.out.index("[OK]")]
    assert charged["B1"] not in asked, "the number must not be shown to whoever confirms it"
    assert "B1" not in asked
    (event,) = charged.events("changed")
    assert event.body["battery_in"] == charged["B1"]
    assert charged.place("B1") == "T1"


def test_the_stamped_serial_does_as_well(charged: BatteryRoom, pictures: Path) -> None:
    station(charged, pictures, ("[?]", "b1"), ("[OK]", ""), ("[OK]", ""), ("[LOGGED]", "q"))
    assert charged.place("B1") == "T1"


def test_a_wrong_answer_logs_nothing_however_often_it_is_given(
    charged: BatteryRoom, pictures: Path
) -> None:
    wrong = charged["B2"][-5:]
    again = "not what the number ends in"
    steps = [("[?]", wrong), (again, wrong), (again, wrong), ("SHOW THE BATTERY", ""), ("", "q")]
    found = station(charged, pictures, *steps)
    assert "[OK]" not in found.out
    assert charged.events("changed") == []
    assert charged.place("B1") == "C1"
