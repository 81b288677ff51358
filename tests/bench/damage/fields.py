"""Random fields: the raw material of blotches, dirt, frost, concrete and paint."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Field = NDArray[np.float32]
Shape = tuple[int, int]


def smooth(
    rng: np.random.Generator, shape: Shape, scale: float | tuple[float, float], octaves: int = 1
) -> Field:
    """Noise of mean 0 and standard deviation 1 whose features are ``scale`` pixels large.

    ``scale`` may differ down and across (rows first). Each further octave has half the size
    and half the strength.
    """
    down, across = (scale, scale) if isinstance(scale, int | float) else scale
    total = np.zeros(shape, np.float32)
    for octave in range(octaves):
        part = 2.0**-octave
        cells = (
            max(2, int(shape[0] / max(down * part, 1.0))) + 3,
            max(2, int(shape[1] / max(across * part, 1.0))) + 3,
        )
        grid = rng.standard_normal(cells, np.float32)
        total += part * cv2.resize(grid, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    total -= total.mean()
    return total / max(float(total.std()), 1e-6)


def places(shape: Shape) -> tuple[Field, Field]:
    """Row and column of every pixel."""
    rows = np.arange(shape[0], dtype=np.float32)[:, None]
    columns = np.arange(shape[1], dtype=np.float32)[None, :]
    return np.broadcast_to(rows, shape), np.broadcast_to(columns, shape)


def rising(values: Field, width: float) -> Field:
    """0 below -width/2, 1 above width/2, smooth between (the edge of something lost)."""
    share = np.clip(values / np.float32(max(width, 1e-6)) + 0.5, 0, 1)
    return share * share * (3 - 2 * share)
