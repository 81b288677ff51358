"""The planner and the preview as commands."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
import zxingcpp
from battery_room import run
from tagkit.assets.card import card_in
from tagkit.assets.payload import tag_in
from tagkit.assets.tag import exact_tag
from tagkit.jobs.samples import sample
from tagkit.labels.drawing import Words
from tagkit.labels.layout import lay_out
from tagkit.labels.template import load_template
from tagkit.resources import label_templates

NAMES = sorted(path.stem for path in label_templates().glob("*.toml"))


def test_the_planner_shows_what_it_worked_out() -> None:
    done = run("distance", "--module", "1.0", "--camera", "1280", "--angle", "60")
    assert done.code == 0
    assert "Readable from 57 mm to 554 mm" in done.out
    assert "f = 1280 px / (2 tan(60° / 2)) = 1108.5 px" in done.out


def test_a_template_brings_its_camera_and_distance() -> None:
    found = run("distance", "--template", "battery-side", "--json").data
    assert found["template"] == "battery-side"
    assert found["distance"] == {"value": 750, "unit": "mm"}
    assert found["readable"] is True
    assert found["pixels_per_module"] >= 2


def test_feet_and_inches_go_in_and_out() -> None:
    found = run("distance", "--distance", "3 ft", "--units", "us", "--json").data
    assert found["distance"] == {"value": 36, "unit": "in"}
    assert found["module"]["unit"] == "in"
    again = run("distance", "--distance", "914.4", "--json").data
    assert again["module"]["value"] == pytest.approx(found["module"]["value"] * 25.4, rel=0.002)


def test_what_is_too_far_or_too_fast_is_said_with_what_would_do() -> None:
    done = run("distance", "--module", "1", "--distance", "2 m", "--speed", "0.5 m/s",
               "--exposure", "1/100")  # fmt: skip
    assert done.code == 0
    assert "Not readable like this" in done.out
    assert "take a camera of 4619 pixels" in done.out
    assert "Expose for at most 1 ms" in done.out


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((), "nothing to work out"),
        (("--module", "x"), "not a figure"),
        (("--module", "1", "--symbol", "30"), "twice"),
        (("--module", "0"), "not possible"),
        (("--module", "1", "--camera", "7"), "--camera"),
        (("--module", "1", "--angle", "500"), "--angle"),
        (("--module", "1", "--speed", "1"), "needs both"),
        (("--module", "1", "--speed", "fast", "--exposure", "1"), "not a speed"),
        (("--module", "1", "--speed", "1", "--exposure", "1/0"), "not an exposure"),
        (("--label", "1", "--dpi", "203"), "not one printer dot"),
        (("--module", "1", "--units", "feet"), "metric or us"),
    ],
)
def test_what_makes_no_sense_is_named(arguments: tuple[str, ...], says: str) -> None:
    done = run("distance", *arguments)
    assert done.code == 2
    assert says in done.err
    assert "Traceback" not in done.err


@pytest.mark.parametrize("name", NAMES)
def test_no_sample_says_anything_that_a_camera_could_take_for_ours(name: str) -> None:
    template = load_template(name)
    for kind in template.kinds:
        for language in template.languages:
            for content in sample(kind, language, link=True):
                assert tag_in(content.payload) is None
                assert card_in(content.payload) is None
                layout = lay_out(content, template)
                words = [mark.text for mark in layout.marks if isinstance(mark, Words)]
                assert all(exact_tag(text) is None for text in words)


def test_a_preview_is_a_picture_with_every_kind_on_it_and_marked(tmp_path: Path) -> None:
    out = tmp_path / "look.png"
    done = run("preview", "--template", "sheet-a4", "--out", out, "--dpi", "100", "--json")
    assert done.code == 0, done.err
    assert done.data["samples"] == 5
    picture = cv2.imdecode(np.fromfile(out, np.uint8), cv2.IMREAD_COLOR)
    assert list(picture.shape[1::-1]) == done.data["pixels"]
    blue, green, red = (picture[..., channel].astype(int) for channel in range(3))
    pink = (red > 170) & (green < 60) & (blue > 60) & (blue < 150)
    parts = cv2.connectedComponentsWithStats(
        cv2.morphologyEx(pink.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((25, 25)))
    )[2]
    assert sum(area > 1000 for area in parts[1:, cv2.CC_STAT_AREA]) == 5
    assert all(tag_in(code.text) is None for code in zxingcpp.read_barcodes(picture))


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--out", "look.pdf"), ".png"),
        (("--out", "look.png", "--template", "nothing"), "no label template"),
        (("--out", "look.png", "--dpi", "5000"), "--dpi"),
        (("--out", "look.png", "--template", "charger-bay", "--dpi", "1200"), "smaller --dpi"),
    ],
)
def test_a_preview_that_can_not_be_drawn_says_why(
    arguments: tuple[str, ...], says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = run("preview", "--template", "battery-side", *arguments)
    assert done.code in (2, 3)
    assert says in done.err
    assert list(tmp_path.iterdir()) == []
