"""Is the bound on wrong names kept? Claimed against observed, on modules alone, a million times.

The claim is about soft modules given a place that no tag helped to choose: a picture comes into
it by its soft modules only, whatever its damage. So a null scene can be made as modules, without
drawing a picture, as long as its symbol is independent of the roster; pictures are the other half
of the proof (``bench_recovery null``).

A scene: a symbol that is not registered (or none at all), blotches that bleach, char or mix over
0 to 80 % of it, uneven light, noise; then what recovery would say at one place. Instead of all
half a million rivals only the truth itself is asked: the least ratio over all rivals is no larger,
so what is counted is at least what recovery would name. Where the symbol is of no family of the
roster there is no such rival, and chance alone has to hold.

Kinds: ``near``, a serial next to registered ones; ``site``, any serial of the site; ``other``, the
same serial of another site; ``prefix``, our payload with one character wrong; ``overlap``, two
unregistered labels, half of each; ``clutter``, blotches of any size and no symbol.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from tagkit.assets.tag import Kind, Tag, can_issue, serials_after, tag_for
from tagkit.reader.recovery.acceptance import CLUSTERS, likelihood_ratios, proof_modules
from tagkit.reader.recovery.expected import symbols
from tagkit.reader.recovery.roster import Family, Roster, Variant
from tagkit.reader.recovery.sampling import soft
from tagkit.symbol.encode import encode

KINDS = ("near", "site", "other", "prefix", "overlap", "clutter")
LINK = "HTTPS://LABELS.EXAMPLE/A/"
MASK = 3
_TAGS = 1000
_SMALLEST_SHARE = 1e-12
_LETTERS = "0123456789ABCDEFGHJKLMNPQRSTUVWXYZ"
Soft = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Scenes:
    """Soft modules (B, size, size) and what was printed (B, size²) as signs, twice for overlaps;
    0 where nothing of the family was."""

    soft: Soft
    printed: tuple[Soft, ...]


@lru_cache(maxsize=4)
def family(link: bool) -> Family:
    """1,000 registered tags in one form; every fifth serial is left out."""
    serials = serials_after(Kind.BATTERY, "QM", 400)
    tags = [tag_for(Kind.BATTERY, "QM", next(serials)) for _ in range(_TAGS * 5 // 4)]
    chosen = [tag for index, tag in enumerate(tags) if index % 5]
    return Roster(_variant(tag, link) for tag in chosen).families[0]


def _variant(tag: Tag, link: bool) -> Variant:
    symbol = encode(f"{LINK}{tag}" if link else str(tag), "H", mask=MASK)
    return Variant(tag, symbol.payload, symbol.version, "H", symbol.mask)


def scenes(kind: str, link: bool, count: int, rng: np.random.Generator) -> Scenes:
    """``count`` independent null scenes of one kind."""
    own = family(link)
    first, foreign = _payloads(kind, own, count, rng)
    signs = _signs(own, first)
    printed = (signs,)
    if kind == "overlap":
        other = _signs(own, _payloads("site", own, count, rng)[0])
        printed = (signs, other)
        columns = np.tile(np.arange(own.size), own.size)
        cut = rng.integers(own.size // 4, own.size * 3 // 4, (count, 1))
        signs = np.where(columns < cut, signs, other)
    if kind == "clutter":
        signs = np.zeros_like(signs)
    values = np.stack([
        soft(aged(signs[index].reshape(own.size, own.size), rng)) for index in range(count)
    ])  # fmt: skip
    if foreign:
        printed = (np.zeros_like(signs),)
    return Scenes(values, printed)


def aged(signs: Soft, rng: np.random.Generator, state: NDArray[np.float64] | None = None) -> Soft:
    """Grey modules of a symbol after damage; ``state`` (4, size, size) are the chances used."""
    if state is None:
        state = rng.standard_normal((4, *signs.shape))
    side = len(signs)
    share = 0.8 * _uniform(state[3, 0, 0])
    width = side / 14 * (1 + _uniform(state[3, 0, 1]))
    blotches = _field(state[0], width)
    lost = blotches > np.quantile(blotches, 1 - share)
    style = _uniform(state[3, 0, 2])
    tones = _field(state[1], width)
    tone = np.where(tones > np.quantile(tones, style), 42.0, 214.0) + 8 * tones / tones.std()
    grey = 128 - 85 * signs + 12 * state[2] * (0.5 + _uniform(state[3, 0, 3]))
    grey = np.where(lost, tone + 6 * state[2], grey)
    return np.asarray(cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 0.45), np.float32)


def bounds(link: bool, some: Scenes) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """The bound that recovery would state for its best match in each scene, were the truth the
    only rival, and the clusters that speak for the match."""
    own = family(link)
    flat = some.soft.reshape(len(some.soft), -1)
    matched, by_chance = _matched(own, flat)
    clusters = np.full(len(flat), 99)
    bound = np.exp(np.minimum(by_chance, 0.0))
    rows = np.flatnonzero(bound < 0.2)
    if len(rows):
        by_rival, clusters[rows] = _by_rival(own, some, flat, matched, rows)
        bound[rows] = np.minimum(1.0, bound[rows] + np.exp(np.minimum(by_rival, 0.0)))
    return bound, clusters


def _matched(own: Family, flat: Soft) -> tuple[Soft, NDArray[np.float64]]:
    """The best match's signs (B, informative) and the logarithm of the risk by chance."""
    values = flat[:, own.informative]
    matched = own.signs[(values @ own.signs.T).argmax(axis=1)]
    proof = proof_modules(own)
    kept = values[:, proof]
    chance = np.sum(kept * matched[:, proof], axis=1) / (np.linalg.norm(kept, axis=1) + 1e-6)
    return matched, np.log(len(own.variants)) - np.maximum(chance, 0.0) ** 2 / 2


def _by_rival(
    own: Family, some: Scenes, flat: Soft, matched: Soft, rows: NDArray[np.intp]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """The logarithm of the risk that the truth was taken for the match, and the clusters."""
    # The match as a whole symbol: fixed modules, then those of the tag.
    whole = np.repeat(own.constant[None].astype(np.float32), len(rows), axis=0)
    whole[:, own.informative] = matched[rows]
    ratio, clusters = np.full(len(rows), np.inf), np.full(len(rows), 99)
    for printed in some.printed:
        there = np.any(printed[rows] != 0, axis=1)
        found, count = likelihood_ratios(flat[rows], whole, printed[rows], own.size)
        found[~there] = np.inf
        fewer = found < ratio
        clusters[fewer] = count[fewer]
        ratio = np.minimum(ratio, found)
    return np.log(len(own.variants)) - ratio, clusters


def exceeded(
    link: bool, kind: str, count: int, rng: np.random.Generator, claims: tuple[float, ...]
) -> list[int]:
    """In how many of ``count`` scenes something would be named at each claimed risk."""
    bound, clusters = bounds(link, scenes(kind, link, count, rng))
    enough = clusters >= CLUSTERS
    return [int(np.sum((bound <= claim) & enough)) for claim in claims]


def split(
    kind: str, link: bool, chains: int, rng: np.random.Generator, steps: int = 12
) -> list[tuple[float, float]]:
    """Multilevel splitting on one kind of unregistered label: (claimed, observed) pairs.

    The state of a scene is its serial and the standard normal numbers that its damage is made of.
    At each level the tenth of chains with the least bounds survives; the rest are copies of them,
    moved by steps that keep the distribution (Crank and Nicolson's for the numbers, another
    serial sometimes) and are accepted while the bound stays below the level (Au and Beck 2001).
    The least number of clusters is not asked for, so more is counted than would be named.
    """
    own = family(link)
    side = own.size
    states = rng.standard_normal((chains, 4, side, side))
    first, foreign = _payloads(kind, own, chains, rng)
    signs = _signs(own, first)

    def asked(state: NDArray[np.float64], symbol: Soft) -> NDArray[np.float64]:
        values = np.stack([soft(aged(one.reshape(side, side), rng, part))
                           for one, part in zip(symbol, state, strict=True)])  # fmt: skip
        flat = values.reshape(len(values), -1)
        matched, by_chance = _matched(own, flat)
        if foreign:
            return by_chance
        rows = np.arange(len(flat))
        by_rival, _ = _by_rival(own, Scenes(values, (symbol,)), flat, matched, rows)
        return np.logaddexp(by_chance, by_rival)

    now = asked(states, signs)
    share, pairs = 1.0, []
    while True:
        order = np.argsort(now)
        keep = max(1, chains // 10)
        level = float(now[order[keep - 1]])
        if share < _SMALLEST_SHARE:
            break
        share *= float(np.mean(now <= level))
        if level < 0:
            pairs.append((float(np.exp(level)), share))
        chosen = order[rng.integers(0, keep, chains)]
        states, signs, now = states[chosen], signs[chosen], now[chosen]
        for _ in range(steps):
            pace = float(rng.choice([0.1, 0.25, 0.5]))
            moved = np.sqrt(1 - pace**2) * states + pace * rng.standard_normal(states.shape)
            other = signs.copy()
            if rng.random() < 0.3:
                swap = rng.random(chains) < 0.5
                fresh = _signs(own, _payloads(kind, own, chains, rng)[0])
                other[swap] = fresh[swap]
            value = asked(moved, other)
            taken = value <= level
            states[taken], signs[taken], now[taken] = moved[taken], other[taken], value[taken]
    return pairs


def _uniform(normal: float) -> float:
    """A uniform number from a standard normal one (logistic approximation of its distribution)."""
    return float(1 / (1 + np.exp(-1.702 * normal)))


def _field(noise: NDArray[np.float64], width: float) -> NDArray[np.float64]:
    return np.asarray(cv2.GaussianBlur(noise, (0, 0), width), np.float64)


def _signs(own: Family, payloads: list[str]) -> Soft:
    dark = symbols(payloads, own.version, own.level, own.mask)
    return np.where(dark, np.float32(1), np.float32(-1))


def _payloads(
    kind: str, own: Family, count: int, rng: np.random.Generator
) -> tuple[list[str], bool]:
    """What is printed on the labels of a kind of scene; whether it is foreign to the family."""
    registered = _registered(own)
    found: list[str] = []
    while len(found) < count:
        base = own.variants[int(rng.integers(len(own.variants)))].tag
        if kind == "near":
            serial = base.serial + int(rng.integers(-9, 10))
            text = (
                str(tag_for(base.kind, "QM", serial)) if can_issue(base.kind, "QM", serial) else ""
            )
        elif kind == "other":
            site = "".join(rng.choice(list("ABCDEFGHKLMNPRSTUVWXYZ"), 2))
            good = site != "QM" and can_issue(base.kind, site, base.serial)
            text = str(tag_for(base.kind, site, base.serial)) if good else ""
        elif kind == "prefix":
            place = int(rng.integers(5, len(str(base))))
            text = str(base)
            if text[place] == "-":
                continue
            text = text[:place] + _LETTERS[int(rng.integers(len(_LETTERS)))] + text[place + 1 :]
        else:
            one = list(Kind)[int(rng.integers(len(Kind)))]
            serial = int(rng.integers(1, 100_000))
            text = str(tag_for(one, "QM", serial)) if can_issue(one, "QM", serial) else ""
        if text and text not in registered:
            found.append(f"{own.before}{text}")
    return found, kind in ("other", "clutter")


@lru_cache(maxsize=4)
def _registered(own: Family) -> frozenset[str]:
    return frozenset(str(variant.tag) for variant in own.variants)
