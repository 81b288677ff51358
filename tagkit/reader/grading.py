"""From what was measured on a label to what to do about it, with the reasons in plain words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from tagkit.reader.condition import Condition

Verdict = Literal["good", "reprint soon", "reprint now"]
VERDICTS: tuple[Verdict, ...] = ("good", "reprint soon", "reprint now")
_BLURRED = 1.6  # pixels a module below which a picture tells little about a label


@dataclass(frozen=True)
class Limits:
    """Shares below (damage: above) which a label is to be reprinted soon, and now.

    ``unused``: 0.50 and 0.25 are the ends of grades B and D of ISO/IEC 15415; with half of the
    correction gone one more splash of the same size leaves none. ``contrast``: 0.40 and 0.20, the
    ends of grades C and D of its symbol contrast. ``pattern``: a finder pattern with a seventh of
    its modules wrong is still found by most readers, with two sevenths by few. ``frame``: with
    half of the frame gone the label can no longer be squared by it once the finders go too.
    """

    unused_soon: float = 0.50
    unused_now: float = 0.25
    contrast_soon: float = 0.40
    contrast_now: float = 0.20
    pattern_soon: float = 0.14
    pattern_now: float = 0.28
    frame_soon: float = 0.50


@dataclass(frozen=True)
class Reason:
    """Why a label is not good: a code for programs, a sentence for people, and how bad it is."""

    code: str
    sentence: str
    verdict: Verdict


@dataclass(frozen=True)
class Grading:
    """The verdict, its reasons (worst first), and what makes the picture itself doubtful.

    A verdict with ``doubts`` is about the picture as much as about the label: take another.
    """

    verdict: Verdict
    reasons: tuple[Reason, ...]
    doubts: tuple[str, ...]


def grade(condition: Condition, limits: Limits, *, framed: bool = True) -> Grading:
    """What to do about a label. ``framed``: it was printed with a frame, as all of ours are."""
    reasons = [
        reason
        for reason in (
            _correction(condition, limits),
            _contrast(condition, limits),
            _patterns(condition, limits),
            _frame(condition, limits) if framed else None,
        )
        if reason is not None
    ]
    reasons.sort(key=lambda reason: -VERDICTS.index(reason.verdict))
    verdict = reasons[0].verdict if reasons else VERDICTS[0]
    return Grading(verdict, tuple(reasons), _doubts(condition))


def _worse(value: float, soon: float, now: float) -> Verdict | None:
    """The verdict on a share of which more is better."""
    return VERDICTS[2] if value < now else VERDICTS[1] if value < soon else None


def _correction(condition: Condition, limits: Limits) -> Reason | None:
    left = condition.unused_error_correction
    verdict = _worse(left, limits.unused_soon, limits.unused_now)
    if verdict is None:
        return None
    worst = min(condition.blocks, key=lambda block: block.unused)
    return Reason(
        "error correction",
        f"only {left:.0%} of the error correction is left: {worst.wrong} of the "
        f"{worst.mendable} wrong codewords that its worst block can mend are used up",
        verdict,
    )


def _contrast(condition: Condition, limits: Limits) -> Reason | None:
    verdict = _worse(condition.contrast, limits.contrast_soon, limits.contrast_now)
    if verdict is None:
        return None
    return Reason(
        "contrast",
        f"the print is faint: {condition.contrast:.0%} contrast between dark and light",
        verdict,
    )


def _patterns(condition: Condition, limits: Limits) -> Reason | None:
    finders = [pair for pair in condition.fixed_patterns if pair[0].startswith("finder")]
    name, share = max(finders, key=lambda pair: pair[1])
    verdict = _worse(-share, -limits.pattern_soon, -limits.pattern_now)
    if verdict is None:
        return None
    place = name.removeprefix("finder ")
    return Reason(
        "finder pattern",
        f"the {place} finder pattern (one of the three large squares) is {share:.0%} damaged",
        verdict,
    )


def _frame(condition: Condition, limits: Limits) -> Reason | None:
    if condition.frame is None or condition.frame >= limits.frame_soon:
        return None
    return Reason(
        "frame",
        f"only {condition.frame:.0%} of the printed frame is left, which the reader needs when "
        "the symbol is damaged",
        VERDICTS[1],
    )


def _doubts(condition: Condition) -> tuple[str, ...]:
    doubts = []
    left = condition.unused_error_correction
    if condition.glare > 0.02:
        doubts.append(
            f"a lamp is mirrored in {condition.glare:.0%} of the symbol, which is not judged: take "
            "another picture from a different side"
        )
    if condition.pixels_per_module < _BLURRED:
        doubts.append("the label is small in this picture: take another from nearer")
    elif condition.glare <= 0.02 and condition.modulation < 1 and left > 0.5:
        doubts.append(
            "dark and light run into each other: hold still and near enough to be in focus"
        )
    if condition.agreement < 0.3:
        doubts.append("the picture hardly agrees with the expected symbol: take another one")
    return tuple(doubts)
