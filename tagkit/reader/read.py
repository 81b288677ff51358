"""From pictures to tags: what was read, how, and where in the picture."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from tagkit.assets.payload import tag_in
from tagkit.assets.tag import Tag
from tagkit.errors import WrongInput
from tagkit.reader.symbols import Corners, Found

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from tagkit.reader.engines import Grey

Method = Literal["decoded", "recovered"]


@dataclass(frozen=True)
class Read:
    """One symbol read from a picture.

    ``tag`` is None for a foreign code ("not one of ours"); ``text`` is what the symbol says.
    ``method`` is "recovered" where the label was identified from what is left of it; then
    ``false_match_bound`` is the proven bound on the probability of a wrong answer. ``corners``
    are in pixels, from the symbol's own top left, clockwise. ``decoder`` says who read it.
    """

    tag: Tag | None
    text: str
    method: Method
    false_match_bound: float | None
    corners: Corners
    decoder: str


Recovery = Callable[["Grey", Sequence[Read], Collection[Tag]], Sequence[Read]]
"""Identifies labels that no decoder reads: given the grey picture, what was decoded in it and
the roster, returns further reads with method "recovered" and their bound."""


def read_picture(
    picture: NDArray[Any],
    roster: Collection[Tag] | None = None,
    *,
    seconds: float | None = None,
    recovery: Recovery | None = None,
) -> list[Read]:
    """Every symbol in one picture (grey H × W, or BGR H × W × 3; uint8).

    ``seconds`` limits the time for second opinions (default: the cascade's own). ``roster``,
    the tags that are registered, is what labels beyond decoding are identified against, by
    ``recovery`` (default: tagkit.reader.recovery, about 2 s more at most, only where something
    label-like stays unread; ``no_recovery`` switches it off). Decoding needs neither. WrongInput
    for an array that is no picture.
    """
    from tagkit.reader.decoders import DEFAULT_SECONDS, look

    grey = to_grey(picture)
    found = look(grey, DEFAULT_SECONDS if seconds is None else seconds)
    reads = [as_read(one) for one in found]
    if not roster:
        return reads
    if recovery is None:
        from tagkit.reader.recovery.recover import recover_unread

        recovery = recover_unread
    reads.extend(recovery(grey, tuple(reads), roster))
    return reads


def no_recovery(_grey: Grey, _reads: Sequence[Read], _roster: Collection[Tag]) -> Sequence[Read]:
    """A recovery that finds nothing: decoding only."""
    return ()


def as_read(found: Found) -> Read:
    """The read that a decoded symbol makes."""
    return Read(tag_in(found.text), found.text, "decoded", None, found.corners, found.decoder)


def to_grey(picture: NDArray[Any]) -> Grey:
    """A grey picture (H × W, uint8) from a grey or BGR one; WrongInput for anything else."""
    import cv2
    import numpy as np

    if picture.dtype != np.uint8 or 0 in picture.shape:
        raise WrongInput(
            f"this is no picture: {picture.dtype} values in the shape {picture.shape}",
            "Hand in grey (height × width) or BGR (height × width × 3) with 8 bits",
        )
    if picture.ndim == 2:
        return picture
    if picture.ndim == 3 and picture.shape[2] == 3:
        return cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)  # type: ignore[return-value]
    raise WrongInput(
        f"this is no picture: its shape is {picture.shape}",
        "Hand in grey (height × width) or BGR (height × width × 3)",
    )
