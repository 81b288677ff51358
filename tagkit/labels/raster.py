"""Pages of a PDF as pictures, for proofing and for 1-bit output."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any


def render_pages(pdf: bytes | Path, dpi: float) -> Iterator[Any]:
    """Each page in turn as a grey picture: a numpy array, height × width, uint8, white 255."""
    return _rendered(pdf, dpi, colour=False)


def render_colour(pdf: bytes | Path, dpi: float) -> Iterator[Any]:
    """Each page in turn in colour: a numpy array, height × width × 3, uint8, red first."""
    return _rendered(pdf, dpi, colour=True)


def _rendered(pdf: bytes | Path, dpi: float, colour: bool) -> Iterator[Any]:
    import pypdfium2
    from pypdfium2 import raw

    form = raw.FPDFBitmap_BGR if colour else raw.FPDFBitmap_Gray
    flags = raw.FPDF_ANNOT | (raw.FPDF_REVERSE_BYTE_ORDER if colour else raw.FPDF_GRAYSCALE)
    document = pypdfium2.PdfDocument(pdf)
    try:
        for page in document:
            # A page of whole printer dots must become as many pixels, not one more because of
            # the last decimal of its size: then pdfium would stretch it.
            width, height = (math.ceil(side * dpi / 72 - 0.01) for side in page.get_size())
            bitmap = pypdfium2.PdfBitmap.new_native(width, height, form)
            bitmap.fill_rect((255, 255, 255, 255), 0, 0, width, height)
            raw.FPDF_RenderPageBitmap(bitmap, page, 0, 0, width, height, 0, flags)
            shape = (height, width, 3) if colour else (height, width)
            yield bitmap.to_numpy().reshape(shape).copy()
            bitmap.close()
            page.close()
    finally:
        document.close()
