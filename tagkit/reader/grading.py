"""From what was measured on a label to what to do about it, with the reasons in plain words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, Protocol

if TYPE_CHECKING:
    from tagkit.reader.condition import Condition

Verdict = Literal["not judged", "good", "reprint soon", "reprint now"]
VERDICTS: tuple[Verdict, ...] = ("not judged", "good", "reprint soon", "reprint now")
# Beyond these a label is not flat enough for what looks like damage to be damage: off a plane in
# modules, and the share of strips out of place (bench_condition shows both sides of them).
_BENT, _MISPLACED = 1.0, 0.015
_BLURRED = 1.6  # pixels a module below which a picture tells little about a label


class Limits(Protocol):
    """Shares below (damage: above) which a label is to be reprinted soon, and now.

    The site's settings are such limits, with defaults and sources (settings.ConditionSettings).
    """

    @property
    def unused_soon(self) -> float: ...
    @property
    def unused_now(self) -> float: ...
    @property
    def contrast_soon(self) -> float: ...
    @property
    def contrast_now(self) -> float: ...
    @property
    def pattern_soon(self) -> float: ...
    @property
    def pattern_now(self) -> float: ...
    @property
    def frame_soon(self) -> float: ...


@dataclass(frozen=True)
class Reason:
    """Why a label is not good: a code for programs, a sentence for people, and how bad it is."""

    code: str
    sentence: str
    verdict: Verdict


@dataclass(frozen=True)
class Grading:
    """The verdict, its reasons (worst first), and what makes the picture itself doubtful.

    A verdict with ``doubts`` is about the picture as much as about the label: take another. A
    label that lies bent is not judged at all: what is out of place would count as damage.
    """

    verdict: Verdict
    reasons: tuple[Reason, ...]
    doubts: tuple[str, ...]

    @property
    def judged(self) -> bool:
        """Whether what was measured says anything about the label."""
        return self.verdict != "not judged"


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
    if condition.flat.bend > _BENT or condition.flat.misplaced > _MISPLACED:
        doubt = (
            "the label lies bent in this picture, round a cable or lifted, and can't be judged: "
            "press it flat, or take another picture straight in front of it"
        )
        return Grading("not judged", (), (doubt,))
    verdict = reasons[0].verdict if reasons else "good"
    return Grading(verdict, tuple(reasons), _doubts(condition))


def _worse(value: float, soon: float, now: float) -> Verdict | None:
    """The verdict on a share of which more is better."""
    return "reprint now" if value < now else "reprint soon" if value < soon else None


def _correction(condition: Condition, limits: Limits) -> Reason | None:
    left = condition.unused_error_correction
    verdict = _worse(left, limits.unused_soon, limits.unused_now)
    if verdict is None:
        return None
    worst = min(condition.blocks, key=lambda block: block.unused)
    return Reason(
        "error correction",
        f"only {left:.0%} of the error correction is left: its worst block has {worst.wrong} wrong "
        f"codewords and can mend {worst.mendable}",
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
        "reprint soon",
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
