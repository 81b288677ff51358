"""Pages of a PDF as pictures, for proofing and for 1-bit output."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

MM_PER_INCH = 25.4


def render_pages(pdf: bytes | Path, dpi: float) -> Iterator[Any]:
    """Each page in turn as a grey picture: a numpy array, height × width, uint8, white 255."""
    import pypdfium2

    document = pypdfium2.PdfDocument(pdf)
    try:
        for page in document:
            bitmap = page.render(scale=dpi / 72, grayscale=True)
            picture = bitmap.to_numpy()
            yield (picture if picture.ndim == 2 else picture[:, :, 0]).copy()
            bitmap.close()
            page.close()
    finally:
        document.close()
