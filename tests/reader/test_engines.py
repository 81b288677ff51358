"""Each decoder finds a symbol at any angle and names its corners alike."""

from __future__ import annotations

import subprocess
import sys

import cv2
import numpy as np
import pytest
import qrcode
from scenes import flat_symbol
from tagkit.reader import engines
from tagkit.reader.symbols import clockwise

TEXT = "B-QM-00417-D"
needs_zbar = pytest.mark.skipif(
    engines._zbar() is None, reason="the zbar library is missing: apt install libzbar0"
)
EVERY_ENGINE = [
    pytest.param(name, marks=needs_zbar) if name == "zbar" else name for name in engines.ENGINES
]


def turned(angle: float, mirrored: bool) -> tuple[engines.Grey, np.ndarray]:
    """The symbol turned (anticlockwise) in the middle of a white picture; its true corners."""
    symbol = flat_symbol(TEXT, module=6)
    size = symbol.shape[0]
    edge = 4 * 6
    corners = np.array(
        [[edge, edge], [size - edge, edge], [size - edge, size - edge], [edge, size - edge]],
        float,
    )
    matrix = cv2.getRotationMatrix2D((size / 2, size / 2), angle, 1)
    matrix[:, 2] += 250 - size / 2
    if mirrored:
        matrix = np.array([[-1, 0, 500], [0, 1, 0]]) @ np.vstack([matrix, [0, 0, 1]])
    picture = cv2.warpAffine(symbol, matrix, (500, 500), borderValue=255)
    true = np.c_[corners, np.ones(4)] @ matrix.T
    return picture, np.array(clockwise([tuple(point) for point in true]))


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("angle", [0, 10, 45, 90, 135, 180, 205, 270, 350])
@pytest.mark.parametrize("name", EVERY_ENGINE)
def test_corners_start_at_the_symbols_own_top_left(name: str, angle: int, mirrored: bool) -> None:
    picture, true = turned(angle, mirrored)
    found = engines.ENGINES[name](picture)
    if name == "opencv" and angle % 90 and not found:
        return  # this one misses some angles; what it does find must be right
    assert [one.text for one in found] == [TEXT]
    assert found[0].decoder == name
    assert np.abs(np.array(found[0].corners) - true).max() < 6  # one module


@pytest.mark.parametrize("name", EVERY_ENGINE)
def test_several_symbols_in_one_picture_are_all_found(name: str) -> None:
    texts = [f"B-QM-{serial:05d}-X" for serial in range(4)]
    symbols = [flat_symbol(text) for text in texts]
    picture = np.vstack([np.hstack(symbols[:2]), np.hstack(symbols[2:])])
    assert sorted(one.text for one in engines.ENGINES[name](picture)) == texts


@pytest.mark.parametrize("name", EVERY_ENGINE)
@pytest.mark.parametrize("shape", [(1, 1), (3, 400), (400, 3), (20, 20), (64, 64)])
def test_pictures_without_room_for_a_symbol_hold_none(name: str, shape: tuple[int, int]) -> None:
    assert engines.ENGINES[name](np.full(shape, 200, np.uint8)) == []


@pytest.mark.parametrize("name", EVERY_ENGINE)
def test_a_part_of_a_larger_picture_is_read_as_it_is(name: str) -> None:
    wide = np.full((400, 900), 255, np.uint8)
    wide[50:248, 100:298] = flat_symbol(TEXT)
    found = engines.ENGINES[name](wide[40:300, 90:330])
    assert [one.text for one in found] == [TEXT]


def kanji_symbol() -> engines.Grey:
    code = qrcode.QRCode(box_size=6)
    code.add_data("電池".encode("shift_jis"))
    code.make()
    return np.array(code.make_image().convert("L"))


@pytest.mark.parametrize("name", ["zbar", "opencv", "opencv-aruco"])
def test_second_opinions_are_not_trusted_with_guessed_characters(name: str) -> None:
    assert engines.ENGINES[name](kanji_symbol()) == []


def test_zxing_reads_bytes_of_other_character_sets() -> None:
    assert [one.text for one in engines.zxing(kanji_symbol())] == ["電池"]


def test_light_symbols_on_dark_ground_when_asked_for() -> None:
    negative = 255 - flat_symbol(TEXT)
    assert engines.zxing(negative) == []
    assert [one.text for one in engines.zxing(negative, invert=True)] == [TEXT]


WITHOUT_ZBAR = """
import ctypes.util, sys
ctypes.util.find_library = lambda name: None       # nothing to be found on Linux and macOS
import ctypes
def refuse(name): raise OSError("no such library")
ctypes.cdll.LoadLibrary = refuse                   # nor on Windows
import numpy as np
sys.path.insert(0, sys.argv[1])
from scenes import flat_symbol
from tagkit.reader.decoders import decode_all, hint
from tagkit.reader.engines import zbar
picture = flat_symbol("B-QM-00417-D")
assert zbar(picture) == []
assert decode_all(picture) == ["B-QM-00417-D"]
print(hint())
print(hint())
"""


def test_without_the_zbar_library_reading_works_and_one_hint_is_given(project) -> None:
    done = subprocess.run(
        [sys.executable, "-c", WITHOUT_ZBAR, str(project / "tests" / "reader")],
        capture_output=True,
        encoding="utf-8",
        check=True,
    )
    first, second = done.stdout.splitlines()
    for words in ("apt install libzbar0", "brew install zbar", "Windows"):
        assert words in first
    assert second == "None"
    assert done.stderr == ""


@needs_zbar
def test_no_hint_where_zbar_is_there() -> None:
    assert engines.hint() is None


def test_the_room_opens_without_heavy_libraries() -> None:
    code = (
        "import sys, tagkit.reader, tagkit.reader.decoders, tagkit.reader.read\n"
        "import tagkit.reader.sources, tagkit.reader.watching, tagkit.reader.tracking\n"
        "import tagkit.reader.scanner, tagkit.reader.trouble, tagkit.reader.pictures\n"
        "import tagkit.reader.video\n"
        "print([m for m in ('cv2', 'numpy', 'zxingcpp', 'pyzbar', 'PIL') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, encoding="utf-8", check=True
    )
    assert done.stdout.strip() == "[]"
