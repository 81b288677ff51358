"""The SVG for plates: the same marks as the PDF, letters as outlines."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import cv2
import numpy as np
import pytest
from label_samples import delivery, sample_layouts
from PIL import Image, ImageDraw, ImageFont
from tagkit.labels.fonts import face
from tagkit.labels.outlines import outline
from tagkit.labels.svg import svg_label
from tagkit.labels.template import load_template
from tagkit.resources import fonts
from tagkit.symbol.encode import encode

NAMESPACE = "{http://www.w3.org/2000/svg}"
PIXELS = 200


def flattened(path: str) -> list[np.ndarray]:
    """Each contour of an outline as points, its curves in short straight pieces."""
    contours, here = [], np.zeros(2)
    for letter, text in re.findall(r"([MLQZ])([^MLQZ]*)", path):
        numbers = np.array(text.split(), float).reshape(-1, 2)
        if letter == "M":
            contours.append([numbers[0]])
        elif letter == "L":
            contours[-1].append(numbers[0])
        elif letter == "Q":
            for t in np.linspace(0.1, 1, 10):
                contours[-1].append(
                    (1 - t) ** 2 * here + 2 * t * (1 - t) * numbers[0] + t * t * numbers[1]
                )
        here = numbers[-1] if len(numbers) else here
    return [np.array(contour) for contour in contours]


@pytest.mark.parametrize("weight", ["regular", "bold"])
def test_outlines_are_the_letters_that_another_library_draws(weight):
    file = "DejaVuSansCondensed-Bold.ttf" if weight == "bold" else "DejaVuSansCondensed.ttf"
    font = ImageFont.truetype(str(fonts() / file), PIXELS, layout_engine=ImageFont.Layout.BASIC)
    for char in "B0417QMWag8&@%ñÁÍéúº·–…/()ß":
        wanted = Image.new("L", (2 * PIXELS, 2 * PIXELS), 0)
        ImageDraw.Draw(wanted).text((50, 250), char, fill=255, font=font, anchor="ls")
        drawn = np.zeros((2 * PIXELS, 2 * PIXELS), np.uint8)
        points = [
            np.round((contour * PIXELS + (50, 250)) * 16).astype(np.int32)
            for contour in flattened(outline(weight, char))
        ]
        cv2.fillPoly(drawn, points, 255, shift=4)
        apart = np.count_nonzero((np.array(wanted) > 127) != (drawn > 127))
        assert apart < 0.12 * np.count_nonzero(drawn), char


def test_a_space_has_no_outline():
    assert outline("bold", " ") == ""


def test_the_drawing_has_the_size_of_the_label_in_millimetres():
    template = load_template("truck-plate")
    root = ElementTree.fromstring(svg_label(sample_layouts(template, "es")[0], template))
    assert root.get("width") == "150mm"
    assert root.get("viewBox") == "0 0 150 106"
    assert not list(root.iter(f"{NAMESPACE}text")), "letters must not need a font"


def test_the_symbol_in_the_drawing_is_the_symbol_of_the_payload():
    template = load_template("battery-side")
    layout = delivery(template, 1)[0]
    root = ElementTree.fromstring(svg_label(layout, template))
    wanted = np.array(encode(layout.printed.payload).matrix)
    found = []
    for path in root.iter(f"{NAMESPACE}path"):
        runs = re.findall(r"M(\d+) (\d+)h(\d+)v(\d+)h-\d+z", path.get("d", ""))
        if len(runs) > 20:
            drawn = np.zeros_like(wanted)
            for x, y, width, height in (map(int, run) for run in runs):
                drawn[y : y + height, x : x + width] = True
            found.append(drawn)
    assert len(found) == 2
    assert all(np.array_equal(drawn, wanted) for drawn in found)


def test_the_reach_of_a_letter_is_that_of_its_outline():
    for char in "HQgÁ0(":
        above, below = face("bold").ink(char)
        heights = np.concatenate(flattened(outline("bold", char)))[:, 1]
        assert -heights.min() == pytest.approx(above, abs=0.002)
        assert max(0.0, heights.max()) == pytest.approx(below, abs=0.002)
