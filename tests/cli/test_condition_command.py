"""``tagkit condition``: what is left of a label, kept with its asset."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from battery_room import BatteryRoom, run
from scenes import clutter
from tagkit.assets.tag import parse_tag
from tagkit.jobs.condition import conditions_in, keep_conditions
from tagkit.reader.read import Read
from tagkit.symbol.encode import encode


def label(path: Path, tag: str, *, painted: int = 0, mask: int = 3) -> Path:
    """A picture of the tag's label with so many rows of its data painted over."""
    symbol = encode(tag, "H", 2, mask)
    dark = np.pad(np.pad(np.array(symbol.matrix, bool), 4), 2, constant_values=True)
    art = np.where(np.kron(dark, np.ones((8, 8), bool)), 40, 215).astype(np.uint8)
    start = 6 * 8
    art[start + 9 * 8 : start + (9 + painted) * 8, start + 9 * 8 : start + 25 * 8] = 215
    art = cv2.copyMakeBorder(art, 24, 24, 24, 24, cv2.BORDER_CONSTANT, value=215)
    art = cv2.copyMakeBorder(art, 40, 40, 40, 40, cv2.BORDER_CONSTANT, value=110)
    assert cv2.imwrite(str(path), art)
    return path


def test_a_good_label_is_kept_with_its_battery(room: BatteryRoom, tmp_path: Path) -> None:
    path = label(tmp_path / "good.png", room["B1"])
    found = room.run("condition", path, "--json")
    assert found.code == 0
    assert found.data["source"] == str(path)
    (one,) = found.data["labels"]
    assert (one["tag"], one["verdict"], one["reasons"]) == (room["B1"], "good", [])
    assert one["unused_error_correction"] == 1
    assert one["symbol"] == {"version": 2, "level": "H", "mask": 3}
    assert one["frame"] == 1
    assert found.data["kept"] is True
    kept = room.state("B1").label_condition
    assert kept is not None
    assert (kept["verdict"], kept["unused_error_correction"], kept["by"]) == ("good", 1.0, "TS")
    assert f"looked at the label of {room['B1']}: good" in room.run("history", "B1").out


def test_a_worn_label_says_why_and_how_to_reprint(room: BatteryRoom, tmp_path: Path) -> None:
    path = label(tmp_path / "worn.png", room["B1"], painted=3)
    found = room.run("condition", path)
    assert found.code == 0
    assert f"{room['B1']}: reprint soon" in found.out or f"{room['B1']}: reprint now" in found.out
    assert "of the error correction is left" in found.out
    assert f"tagkit labels {room['B1']}" in found.out
    condition = room.state("B1").label_condition
    assert condition is not None and condition["verdict"].startswith("reprint")
    assert condition["reasons"]


def bent(path: Path, angle: float, crest: float) -> Path:
    """The picture as if its label went round a pipe: half its side over the radius is ``angle``,
    and it faces the camera ``crest`` of half its side beside its middle."""
    flat = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    assert flat is not None
    height, width = flat.shape
    start, end = np.sin((np.array([-1, 1]) - crest) * angle)
    seen = start + (np.arange(width) + 0.5) / width * (end - start)
    across = np.arcsin(seen) / angle + crest
    columns = np.tile(((across + 1) / 2 * width - 0.5).astype(np.float32), (height, 1))
    rows = np.tile(np.arange(height, dtype=np.float32)[:, None], (1, width))
    out = path.with_name("bent.png")
    cv2.imwrite(str(out), cv2.remap(flat, columns, rows, cv2.INTER_LINEAR))
    return out


def test_a_label_a_little_round_is_judged_as_if_flat(room: BatteryRoom, tmp_path: Path) -> None:
    path = bent(label(tmp_path / "flat.png", room["B1"]), 1.3, 0.0)
    (one,) = room.run("condition", path, "--json").data["labels"]
    assert (one["verdict"], one["symbol"]["mask"]) == ("good", 3)


def test_a_label_bent_far_round_a_pipe_is_not_judged(room: BatteryRoom, tmp_path: Path) -> None:
    """Its far side hardly shows: what can't be laid flat must not count as damage."""
    angle, crest, tag = 1.3, -0.3, parse_tag(room["B1"])
    path = label(tmp_path / "flat.png", str(tag))
    grey = cv2.imread(str(bent(path, angle, crest)), cv2.IMREAD_GRAYSCALE)
    assert grey is not None
    low, high = grey.shape[0] / 2 - 100, grey.shape[0] / 2 + 100  # 25 modules of 8 pixels
    start, end = np.sin((np.array([-1, 1]) - crest) * angle)
    at = (np.sin((np.array([low, high]) / grey.shape[1] * 2 - 1 - crest) * angle) - start) / (
        end - start
    )
    left, right = (float(x) for x in at * grey.shape[1])
    corners = ((left, low), (right, low), (right, high), (left, high))
    with room.open() as site:
        read = Read(tag, str(tag), "recovered", 1e-7, corners, "recovery")
        (found,) = conditions_in(site, grey, [read])
        told = found.to_json()
        assert told["verdict"] == "not judged"
        assert "bent" in told["doubts"][0]
        assert (told["unused_error_correction"], told["blocks"], told["frame"]) == (None,) * 3
        assert keep_conditions(site, [found], by="JT", station="desk") == []


def test_only_looking_keeps_nothing_and_needs_nobody(room: BatteryRoom, tmp_path: Path) -> None:
    path = label(tmp_path / "good.png", room["B1"])
    before = room.count()
    found = room.run("condition", path, "--only-look", "--json")
    assert (found.code, found.data["kept"], room.count()) == (0, False, before)


def test_the_form_that_was_printed_is_the_one_expected(room: BatteryRoom, tmp_path: Path) -> None:
    assert room.run("labels", "B1", "--out", tmp_path / "label.pdf").code == 0
    (printed,) = room.state("B1").labels
    path = label(tmp_path / "good.png", room["B1"], mask=printed["mask"])
    (one,) = room.run("condition", path, "--json").data["labels"]
    same = (printed["version"], printed["level"]) == (2, "H")
    assert (one["printed"] == printed) is same
    old = label(tmp_path / "old.png", room["B1"], mask=(printed["mask"] + 1) % 8)
    (other,) = room.run("condition", old, "--json").data["labels"]
    assert other["printed"] is None, other
    assert other["unused_error_correction"] == 1


def test_a_recovered_label_is_judged_by_the_corners_it_comes_with(
    room: BatteryRoom, tmp_path: Path
) -> None:
    path = label(tmp_path / "eaten.png", room["B1"], painted=6)
    assert room.run("condition", path).code == 3  # no decoder reads it
    start, end = 40 + 24 + 6 * 8, 40 + 24 + (6 + 25) * 8
    corners = ((start, start), (end, start), (end, end), (start, end))
    tag = parse_tag(room["B1"])
    with room.open() as site:
        read = Read(tag, str(tag), "recovered", 1e-7, corners, "recovery")
        (found,) = conditions_in(site, cv2.imread(str(path)), [read])
        keep_conditions(site, [found], by="TS", station="desk")
    assert found.grading.verdict == "reprint now"
    kept = room.state("B1").label_condition
    assert kept is not None and kept["method"] == "recovered"


def test_the_newest_look_counts(room: BatteryRoom, tmp_path: Path) -> None:
    worn = label(tmp_path / "worn.png", room["B1"], painted=3)
    good = label(tmp_path / "good.png", room["B1"])
    assert room.run("condition", good).code == 0
    assert room.run("condition", worn, "--at", "2020-01-01T10:00").code == 0
    condition = room.state("B1").label_condition
    assert condition is not None and condition["verdict"] == "good"


def test_several_pictures_are_one_object_each(room: BatteryRoom, tmp_path: Path) -> None:
    first = label(tmp_path / "1.png", room["B1"])
    second = tmp_path / "2.png"
    cv2.imwrite(str(second), clutter(3, 640, 480) // 8)
    found = room.run("condition", first, second, "--json")
    assert found.code == 0
    one, other = found.objects
    assert (len(one["labels"]), one["camera_trouble"]) == (1, None)
    assert other["labels"] == []
    assert other["camera_trouble"].startswith("Too dark")


def test_nothing_of_ours_ends_with_3_and_names_the_trouble(
    room: BatteryRoom, tmp_path: Path
) -> None:
    path = tmp_path / "dark.png"
    cv2.imwrite(str(path), clutter(3, 640, 480) // 8)
    found = room.run("condition", path)
    assert found.code == 3
    assert "no label of ours was read. Too dark" in found.out


def test_a_number_that_is_not_in_the_record_is_looked_at_all_the_same(
    room: BatteryRoom, tmp_path: Path
) -> None:
    before = room.count()
    found = room.run("condition", label(tmp_path / "strange.png", "B-QM-00417-D"))
    assert found.code == 0
    assert "not in the record" in found.out
    assert room.count() == before


def test_the_damage_is_marked_in_a_picture(room: BatteryRoom, tmp_path: Path) -> None:
    path = label(tmp_path / "worn.png", room["B1"], painted=4)
    out = tmp_path / "marked.png"
    assert room.run("condition", path, "--marked", out).code == 0
    shown = cv2.imread(str(out)).astype(int)
    assert ((shown[..., 2] - shown[..., 0]) > 60).mean() > 0.005
    before = room.count()
    again = room.run("condition", path, "--marked", out)
    assert (again.code, room.count()) == (2, before)
    assert "already there" in again.err


@pytest.mark.parametrize("name", ["missing.png", "film.avi"])
def test_what_is_no_picture_is_refused(room: BatteryRoom, tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    if name.endswith("avi"):
        writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"MJPG"), 10, (64, 48))
        writer.write(np.zeros((48, 64, 3), np.uint8))
        writer.release()
    before = room.count()
    assert room.run("condition", path).code == (3 if name == "missing.png" else 2)
    assert room.count() == before


def test_reading_a_dark_picture_says_so(tmp_path: Path) -> None:
    path = tmp_path / "dark.png"
    cv2.imwrite(str(path), clutter(3, 640, 480) // 8)
    found = run("read", path)
    assert found.code == 3
    assert "Too dark" in found.err
