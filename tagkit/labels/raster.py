"""Pages of a PDF as pictures, for proofing and for 1-bit output."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any


def render_pages(pdf: bytes | Path, dpi: float) -> Iterator[Any]:
    """Each page in turn as a grey picture: a numpy array, height × width, uint8, white 255."""
    import pypdfium2
    from pypdfium2 import raw

    document = pypdfium2.PdfDocument(pdf)
    try:
        for page in document:
            # A page of whole printer dots must become as many pixels, not one more because of
            # the last decimal of its size: then pdfium would stretch it.
            width, height = (math.ceil(side * dpi / 72 - 0.01) for side in page.get_size())
            bitmap = pypdfium2.PdfBitmap.new_native(width, height, raw.FPDFBitmap_Gray)
            bitmap.fill_rect((255, 255, 255, 255), 0, 0, width, height)
            raw.FPDF_RenderPageBitmap(
                bitmap, page, 0, 0, width, height, 0, raw.FPDF_GRAYSCALE | raw.FPDF_ANNOT
            )
            picture = bitmap.to_numpy()
            yield picture.reshape(height, width).copy()
            bitmap.close()
            page.close()
    finally:
        document.close()
