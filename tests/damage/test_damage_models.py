"""The laboratory's models of damage: they take away what they say, and grow with their level."""

from __future__ import annotations

import numpy as np
import pytest
from tagkit.assets.tag import Kind, tag_for
from tagkit.symbol.blocks import block_map
from tagkit.symbol.patterns import Role
from tests.bench.damage.ageing import MODELS, Ground
from tests.bench.damage.labels import PER_MODULE, neighbours, print_label, roster
from tests.bench.damage.severity import (
    informative,
    lost_by_module,
    misread_modules,
    steered,
)

GROUND = Ground((184, 300), (24, 24, 132), 40.0, 220.0, 80.0)
SQUARE = np.s_[24:156, 24:156]


def lost(model: str, seed: int, level: float) -> float:
    wear = MODELS[model](GROUND, np.random.default_rng(seed))(level)
    return float(lost_by_module(wear.kept[SQUARE], 33).mean())


@pytest.mark.parametrize("model", MODELS)
def test_a_model_begins_with_little_and_reaches_ruin(model: str) -> None:
    for seed in range(3):
        assert lost(model, seed, 0.0) < 0.03
        assert lost(model, seed, 1.0) > 0.7


@pytest.mark.parametrize("model", MODELS)
def test_more_wear_never_loses_less(model: str) -> None:
    course = MODELS[model](GROUND, np.random.default_rng(5))
    shares = [
        lost_by_module(course(level).kept[SQUARE], 33).mean() for level in np.linspace(0, 1, 12)
    ]
    assert np.all(np.diff(shares) > -0.005)


@pytest.mark.parametrize("model", MODELS)
def test_wear_is_a_picture_of_bytes_at_most_and_the_same_for_a_seed(model: str) -> None:
    first, again = (MODELS[model](GROUND, np.random.default_rng(9))(0.5) for _ in range(2))
    assert first.kept.dtype == first.added.dtype == np.float32
    assert first.kept.shape == first.added.shape == GROUND.shape
    assert np.array_equal(first.kept, again.kept)
    assert np.array_equal(first.added, again.added)
    assert first.kept.min() >= -1e-4
    assert first.kept.max() <= 1.2
    for tone in (GROUND.ink, GROUND.film):
        shown = first.kept * tone + first.added
        assert shown.min() > -20
        assert shown.max() < 330


def test_severity_is_steered_to_the_share_that_was_asked_for() -> None:
    assert steered(lambda level: level**2, 0.25) == pytest.approx(0.5, abs=0.01)


def test_a_place_is_lost_with_less_than_a_tenth_of_its_contrast() -> None:
    kept = np.ones((8, 8), np.float32)
    kept[:4, :4] = 0.08
    kept[:4, 4:6] = 0.12
    kept[4:, 4:6] = 0.0
    assert lost_by_module(kept, 2).tolist() == [[1.0, 0.0], [0.0, 0.5]]


def test_a_bleached_light_module_is_lost_but_not_misread() -> None:
    dark = np.array([[True, False], [False, True]])
    aged = np.full((8, 8), 220.0, np.float32)
    aged[4:, 4:] = 40
    assert misread_modules(aged, dark, 40, 220).tolist() == [[True, False], [False, False]]


@pytest.mark.parametrize(("form", "modules"), [("bare", 25), ("link", 33)])
def test_a_printed_symbol_lies_where_it_is_said_to(form: str, modules: int) -> None:
    label = print_label(tag_for(Kind.BATTERY, "QM", 417), "battery-top", form)
    column, row, side = label.symbol
    assert label.modules == modules
    assert side == modules * PER_MODULE
    assert column % PER_MODULE == row % PER_MODULE == 0
    square = label.picture[row : row + side, column : column + side]
    middles = square[PER_MODULE // 2 :: PER_MODULE, PER_MODULE // 2 :: PER_MODULE]
    assert np.array_equal(middles < 128, label.dark)
    edges = square.reshape(modules, PER_MODULE, modules, PER_MODULE)
    means = edges.mean(axis=(1, 3))
    assert np.all(np.where(label.dark, means < 45, means > 210))


@pytest.mark.parametrize("form", ["bare", "link"])
def test_only_data_and_error_correction_modules_are_informative(form: str) -> None:
    label = print_label(tag_for(Kind.TRUCK, "QM", 12), "truck-plate", form)
    printed = label.printed
    which = informative(printed)
    chart = block_map(printed.version, printed.level)
    roles = np.array(chart.role).reshape(which.shape)
    assert np.all(roles[which] == Role.DATA)
    tells = int(which.sum())
    data = int((roles == Role.DATA).sum())
    blocks = {chart.block[index] for index in np.flatnonzero(which)}
    if form == "bare":
        assert tells > 0.7 * data
    else:  # a link's host fills whole blocks that are the same on every label
        assert len(blocks) < len(chart.blocks)
        assert tells < 0.7 * data


def test_neighbours_lie_between_the_roster_and_are_not_in_it() -> None:
    ours, others = set(roster()), set(neighbours())
    assert len(ours) == 1000
    assert len(others) >= 95
    assert not ours & others
    batteries = {tag.serial for tag in ours if tag.kind is Kind.BATTERY}
    beside = [tag for tag in others if tag.kind is Kind.BATTERY]
    assert all({tag.serial - 1, tag.serial + 1, tag.serial + 2} & batteries for tag in beside)
