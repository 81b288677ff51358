"""The laboratory's scenes: the truth about a picture is what the picture shows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tagkit.reader.engines import zxing
from tagkit.symbol.encode import encode
from tests.bench.damage.ageing import MODELS
from tests.bench.damage.camera import Camera, homography, to_picture
from tests.bench.damage.curve import outcome, wilson
from tests.bench.damage.labels import roster
from tests.bench.damage.scenes import NULLS, Scene, damaged, long_range, null, video


def seen_values(scene: Scene) -> np.ndarray:
    """The grey value in the middle of every module, by the grid."""
    grid = scene.label.grid
    middles = (grid[:-1, :-1] + grid[1:, 1:] + grid[:-1, 1:] + grid[1:, :-1]) / 4
    x, y = np.round(middles).astype(int).transpose(2, 0, 1)
    return scene.picture[y, x].astype(float)


def contrasts(scene: Scene) -> tuple[float, float]:
    """Light less dark modules, in grey values: of the whole ones, of the lost ones."""
    printed = scene.label.printed
    symbol = encode(printed.payload, printed.level, printed.version, printed.mask)
    dark = np.array(symbol.matrix, bool)
    values, lost = seen_values(scene), scene.label.lost

    def contrast(which: np.ndarray) -> float:
        return float(values[which & ~dark].mean() - values[which & dark].mean())

    return contrast(lost < 0.05), contrast(lost > 0.95)


def test_one_seed_is_one_scene() -> None:
    first, again, other = (
        damaged(3, "mixed", 0.3),
        damaged(3, "mixed", 0.3),
        damaged(4, "mixed", 0.3),
    )
    assert np.array_equal(first.picture, again.picture)
    assert first.label.tag == again.label.tag
    assert not np.array_equal(first.picture[:400, :400], other.picture[:400, :400])


def test_another_severity_is_the_same_label_and_camera() -> None:
    little, much = damaged(8, "torn", 0.1), damaged(8, "torn", 0.5)
    assert little.label.tag == much.label.tag
    assert little.camera == much.camera
    assert np.array_equal(little.label.grid, much.label.grid)
    assert np.all(much.label.lost >= little.label.lost - 0.3)


@pytest.mark.parametrize("model", MODELS)
def test_the_share_asked_for_is_reached_within_two_points(model: str) -> None:
    for seed, asked in ((1, 0.05), (2, 0.2), (3, 0.4), (4, 0.7)):
        label = damaged(seed, model, asked).label
        assert abs(label.area_lost - asked) <= 0.02
        assert label.area_lost == pytest.approx(float(label.lost.mean()))
        assert label.area_touched >= label.area_lost - 1e-6


# In a drop the blurred surroundings show, near frost the printed neighbours shine through.
SEEN_THROUGH = {"drops": 0.25, "frost": 0.25, "cable": 0.6}


@pytest.mark.parametrize("model", MODELS)
def test_whole_modules_show_their_print_and_lost_ones_do_not(model: str) -> None:
    shares = []
    for seed in range(40, 46):
        whole, gone = contrasts(damaged(seed, model, 0.35))
        assert whole > 10, seed
        shares.append(gone / whole)
    assert np.median(shares) < SEEN_THROUGH.get(model, 0.15), shares


def test_a_decoder_finds_the_corners_where_the_truth_says() -> None:
    checked = 0
    for seed in range(12):
        scene = damaged(seed, "none", 0.0)
        for found in zxing(scene.picture):
            if found.text == scene.label.printed.payload:
                away = np.linalg.norm(np.array(found.corners) - scene.label.corners, axis=1)
                assert away.max() < 1.5 * scene.label.pixels_per_module, seed
                checked += 1
    assert checked >= 9


def test_a_tilted_square_keeps_its_middle_and_its_size_there() -> None:
    camera = Camera((640, 480), 5.0, (200.0, 300.0), tilt=50.0, toward=30.0, turn=70.0)
    matrix = homography(camera)
    assert to_picture(matrix, np.zeros(2)) == pytest.approx([200, 300])
    flat = homography(replace(camera, tilt=0.0, turn=0.0, middle=(319.5, 239.5)))
    assert to_picture(flat, np.array([10.0, -4.0])) == pytest.approx([369.5, 219.5])


def test_a_video_shows_one_label_that_moves() -> None:
    frames = video(5, "bleached", 0.4)
    assert len(frames) == 8
    assert len({scene.label.tag for scene in frames}) == 1
    assert all(np.array_equal(scene.label.lost, frames[0].label.lost) for scene in frames)
    moved = np.linalg.norm(frames[-1].label.corners - frames[0].label.corners, axis=1)
    assert moved.max() > 1
    assert np.array_equal(frames[0].picture, damaged(5, "bleached", 0.4).picture)


@pytest.mark.parametrize("kind", NULLS)
def test_no_registered_tag_is_in_a_null_scene(kind: str) -> None:
    registered = {str(tag) for tag in roster()}
    for seed in range(6):
        scene = null(seed, kind)
        assert not any(text.rpartition("/")[2] in registered for text in scene.texts)


def test_the_far_label_is_as_small_as_asked() -> None:
    scene = long_range(2, 1.25)
    assert scene.label.pixels_per_module == pytest.approx(1.25, rel=0.06)
    assert len(scene.label.lost) == 33


def test_a_false_text_outweighs_a_right_one() -> None:
    scene = damaged(3, "none", 0.0)
    text = scene.label.printed.payload
    assert outcome(scene, [text]) == outcome(scene, [str(scene.label.tag)]) == "right"
    assert outcome(scene, [text, "B-QM-00001-X"]) == "wrong"
    assert outcome(scene, list(scene.foreign)) == "nothing"


def test_wilsons_interval_of_nothing_in_ten() -> None:
    low, high = wilson(0, 10)
    assert low == 0
    assert high == pytest.approx(0.2775, abs=0.001)
