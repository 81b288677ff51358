"""The door to recovery: a picture, what was decoded in it, the roster; further reads.

Places that may hold a label (locating), each sampled once in all four turns (sampling), the best
registered tag of each (matching), given only if it passes both tests (acceptance).
"""

from __future__ import annotations

import time
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tagkit.assets.tag import Tag
from tagkit.reader.read import Read
from tagkit.reader.recovery.acceptance import ALPHA, judge, threshold
from tagkit.reader.recovery.locating import Located, search
from tagkit.reader.recovery.matching import Match, match
from tagkit.reader.recovery.roster import Roster
from tagkit.reader.recovery.sampling import Field, Place, corners_of, grey_modules, in_sight, soft
from tagkit.reader.recovery.structure import Prepared
from tagkit.reader.regions import label_like
from tagkit.reader.symbols import centre, contains

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

SECONDS = 2.0
PLACES = 8


@dataclass(frozen=True, eq=False)
class Answer:
    """A tag that passed, where, and the bound on the risk that it is wrong."""

    match: Match
    place: Place
    bound: float


def recover(
    grey: NDArray[np.uint8],
    reads: Sequence[Read],
    roster: Collection[Tag],
    *,
    seconds: float | None = None,
    alpha: float = ALPHA,
) -> list[Read]:
    """Labels of the roster that no decoder read in a grey picture (H × W, uint8).

    ``reads`` is what was decoded: those places are left alone. ``roster`` is a Roster (labels as
    printed) or tags (then the default payload and the automatic mask are assumed). ``seconds``
    (SECONDS unless given) limits the search for places; ``alpha`` is the risk of a wrong tag for
    each picture that a read's false_match_bound stays below.
    """
    labels = as_roster(roster)
    if not len(labels):
        return []
    prepared = Prepared(grey)
    until = time.perf_counter() + (SECONDS if seconds is None else seconds)
    taken = [read.corners for read in reads]
    passed: list[Answer] = []
    looked_at = 0
    for one in search(prepared, labels, taken):
        if one is not None:
            looked_at += 1
            named = identify([one], [grey_modules(prepared.picture, one.place)], labels, alpha)
            passed += named
            taken += [corners_of(answer.place) for answer in named]
        if looked_at == PLACES or time.perf_counter() > until:
            break
    return [as_read(answer) for answer in settled(passed)]


def recover_unread(
    grey: NDArray[np.uint8],
    reads: Sequence[Read],
    roster: Collection[Tag],
    *,
    seconds: float | None = None,
) -> list[Read]:
    """As ``recover``, but nothing is looked for when a label was read and nothing else in the
    picture is label-like: an undamaged label costs no search."""
    if any(read.tag for read in reads):
        open_places = [
            place for place in label_like(grey)
            if not any(place.holds(*centre(read.corners)) for read in reads)
        ]  # fmt: skip
        if not open_places:
            return []
    return recover(grey, reads, roster, seconds=seconds)


def identify(
    places: Sequence[Located], greys: Sequence[Field], roster: Roster, alpha: float, looks: int = 1
) -> list[Answer]:
    """The tags that pass among what was sampled at up to PLACES places; one for each label.

    Each place has been given its way up and its form by its fixed modules: only symbols of that
    form count as tried there.
    """
    named = len(roster) * PLACES * looks
    passed: list[Answer] = []
    for one, grey in zip(places[:PLACES], greys, strict=False):
        families = roster.families_of(one.forms)
        values = soft(grey) * in_sight(one.place)
        tries = sum(len(family.variants) for family in families) * PLACES * looks
        least = threshold(max(tries, 1), alpha)
        for found in match([values], families):
            # The modules that matching counts and T0 leaves out may hide a little of it.
            if found.score < 0.8 * least:
                break
            judged = judge(found, values, tries, alpha, named)
            if judged.accepted:
                passed.append(Answer(found, one.place, judged.bound))
    return settled(passed)


def settled(passed: list[Answer]) -> list[Answer]:
    """One answer for each label; none where two tags claim the same one."""
    kept: list[Answer] = []
    for one in passed:
        here = [other for other in passed if _overlap(one, other)]
        if any(other.match.variant.tag != one.match.variant.tag for other in here):
            continue
        if not any(_overlap(one, other) for other in kept):
            kept.append(one)
    return kept


def _overlap(one: Answer, other: Answer) -> bool:
    first, second = corners_of(one.place), corners_of(other.place)
    return contains(first, centre(second)) or contains(second, centre(first))


def as_read(answer: Answer) -> Read:
    """The read that an answer makes."""
    variant = answer.match.variant
    return Read(variant.tag, variant.payload, "recovered", answer.bound, corners_of(answer.place),
                "recovery")  # fmt: skip


_last: list[tuple[frozenset[Tag], Roster]] = []


def as_roster(tags: Collection[Tag]) -> Roster:
    """The roster of these tags; the one made last is kept, since it takes a while to make."""
    if isinstance(tags, Roster):
        return tags
    wanted = frozenset(tags)
    for known, roster in _last:
        if known == wanted:
            return roster
    roster = Roster.of_tags(sorted(wanted))
    _last[:] = [(wanted, roster)]
    return roster
