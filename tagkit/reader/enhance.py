"""Picture processing that makes a symbol readable again: noise, blur, ink, uneven tones.

Every function takes and gives a grey picture (H × W, uint8) of the same size.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from tagkit.reader.engines import Grey


def smooth(grey: Grey) -> Grey:
    """Against noise of single pixels, at the price of the finest modules."""
    import cv2

    return cv2.GaussianBlur(grey, (0, 0), 1.0)  # type: ignore[return-value]


def without_specks(grey: Grey) -> Grey:
    """Against dust, scratches of a pixel, dead pixels."""
    import cv2

    return cv2.medianBlur(grey, 3)  # type: ignore[return-value]


def sharpen(grey: Grey) -> Grey:
    """Unsharp mask for a picture that was enlarged three times."""
    import cv2

    soft = cv2.GaussianBlur(grey, (0, 0), 3.0)
    return cv2.addWeighted(grey, 2.5, soft, -1.5, 0)  # type: ignore[return-value]


def thin_dark(grey: Grey) -> Grey:
    """Sharpened, and dark modules thinned by two pixels on each side: ink that has spread,
    modules fattened by overexposed etching. For a picture that was enlarged three times."""
    import cv2
    import numpy as np

    return cv2.dilate(sharpen(grey), np.ones((5, 5), np.uint8))  # type: ignore[return-value]


def against_surroundings(grey: Grey) -> Grey:
    """Dark is what is darker than the mean of a quarter of the picture around it.

    For symbols whose dark modules are of many tones or lie in a shadow, where a decoder's own
    narrow windows take the inside of a large dark area for light.
    """
    import cv2

    window = max(31, min(grey.shape) // 4) | 1
    return cv2.adaptiveThreshold(  # type: ignore[return-value]
        grey, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY, window, 0
    )


def deblur(grey: Grey, sigma: float, noise: float = 0.01) -> Grey:
    """Undo a Gaussian blur of ``sigma`` pixels by Wiener's filter.

    With the blur's transfer B(f) = exp(-2 π² σ² f²), each frequency is multiplied by
    B / (B² + noise), where ``noise`` is the ratio of noise to signal power. Defocus and small
    modules are alike to it: a module narrower than the blur is drawn out again.
    """
    import cv2
    import numpy as np

    height, width = grey.shape
    edge = int(4 * sigma) + 1
    rows = cv2.getOptimalDFTSize(height + 2 * edge)
    columns = cv2.getOptimalDFTSize(width + 2 * edge)
    # Mirrored edges, so that the picture's own border does not ring.
    framed = cv2.copyMakeBorder(
        grey,
        edge,
        rows - height - edge,
        edge,
        columns - width - edge,
        cv2.BORDER_REFLECT,
    )
    spectrum = cv2.dft(framed.astype(np.float32), flags=cv2.DFT_COMPLEX_OUTPUT)
    spectrum *= _wiener_gain(rows, columns, sigma, noise)[:, :, None]
    sharp = cv2.idft(spectrum, flags=cv2.DFT_SCALE | cv2.DFT_REAL_OUTPUT)
    inside = sharp[edge : edge + height, edge : edge + width]
    # convertScaleAbs would fold the undershoot of dark modules up into light.
    clear: Grey = np.clip(inside * (1 + noise), 0, 255).astype(np.uint8)
    return clear


@lru_cache(maxsize=8)
def _wiener_gain(rows: int, columns: int, sigma: float, noise: float) -> NDArray[Any]:
    import numpy as np

    def transfer(count: int) -> NDArray[np.float64]:
        passed: NDArray[np.float64] = np.exp(-2 * (np.pi * sigma * np.fft.fftfreq(count)) ** 2)
        return passed

    blur = np.outer(transfer(rows), transfer(columns))
    gain: NDArray[Any] = (blur / (blur**2 + noise)).astype(np.float32)
    return gain
