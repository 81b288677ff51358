"""What a model of damage works on and what it gives back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .fields import Field, Shape

GRAIN = 4


@dataclass(frozen=True, eq=False)
class Ground:
    """The label that is aged: ``shape`` and ``symbol`` (column, row, side) at GRAIN pixels."""

    shape: Shape
    symbol: tuple[int, int, int]
    ink: float  # grey of the dark modules
    film: float  # grey of the light ones
    beneath: float  # grey of what is under the label


@dataclass(frozen=True)
class Bend:
    """The label lies on a cylinder: a cable, a pipe. Lengths at GRAIN pixels."""

    radius: float
    along: int  # 0: the cable runs down the label, 1: across it
    middle: float  # column (row) that faces the camera


@dataclass(frozen=True, eq=False)
class Wear:
    """What is left: ``kept * print + smear * blurred print + added``."""

    kept: Field
    added: Field
    smear: Field | None = None
    bend: Bend | None = None


Course = Callable[[float], Wear]
Model = Callable[[Ground, np.random.Generator], Course]


def over(alpha: Field, tone: Field | float, ghost: float = 0.0) -> Wear:
    """Something opaque over the print; ``ghost`` is the contrast that still shines through."""
    cover = alpha * np.float32(1 - ghost)
    return Wear(1 - cover, (cover * tone).astype(np.float32))
