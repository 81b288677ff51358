"""Labels as 1-bit pictures at the printer's resolution, one dot a pixel.

Colours turn black or white by their lightness, so that signs stay readable: yellow becomes
white, red and blue become black.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence

from tagkit.labels.layout import Layout
from tagkit.labels.pdf import write_pdf
from tagkit.labels.raster import render_pages
from tagkit.labels.template_model import Template

_THRESHOLD = 128


def png_pages(
    layouts: Sequence[Layout], template: Template, dpi: int | None = None
) -> Iterator[bytes]:
    """Each page (each label of a roll) as a 1-bit PNG at the template's dpi unless given."""
    from PIL import Image

    resolution = dpi or template.dpi
    for layout_page in _pages(layouts, template):
        pdf = io.BytesIO()
        write_pdf(layout_page, template, pdf)
        for picture in render_pages(pdf.getvalue(), resolution):
            out = io.BytesIO()
            black_and_white = Image.fromarray(picture >= _THRESHOLD)
            black_and_white.save(out, "PNG", dpi=(resolution, resolution), optimize=True)
            yield out.getvalue()


def _pages(layouts: Sequence[Layout], template: Template) -> Iterator[Sequence[Layout]]:
    step = template.labels_on_page
    for start in range(0, len(layouts), step):
        yield layouts[start : start + step]
