"""What keeps a camera from reading, in words that say what to do."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from numpy.typing import NDArray

_DARK, _BRIGHT = 45, 205
_FLAT = 25
_SOFT = 0.3


def camera_trouble(picture: NDArray[Any]) -> str | None:
    """The trouble with a picture (grey or BGR, uint8) as a sentence with its remedy, or None."""
    import cv2
    import numpy as np

    from tagkit.reader.read import to_grey

    grey = to_grey(picture)
    scale = 640 / max(grey.shape)
    if scale < 1:
        grey = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)  # type: ignore[assignment]
    dark, light = (float(value) for value in np.percentile(grey, (2, 98)))
    if light < _DARK:
        return "Too dark: switch on a light or uncover the lens."
    if dark > _BRIGHT:
        return "Too bright: turn the label or the camera away from the light."
    if light - dark < _FLAT:
        return "Hardly any contrast: wipe the lens and the label, and check for fog or frost."
    across = cv2.absdiff(grey[:, 2:], grey[:, :-2])
    down = cv2.absdiff(grey[2:], grey[:-2])
    steepest = max(float(np.percentile(across, 99.8)), float(np.percentile(down, 99.8)))
    if steepest < _SOFT * (light - dark):
        return (
            "Nothing is sharp: hold still, come a little closer or further away, or wipe the lens."
        )
    return None
