"""A template as a picture, with samples of every kind it is for, in colour."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tagkit.errors import WrongInput
from tagkit.jobs.samples import sample
from tagkit.labels.layout import Layout, lay_out
from tagkit.labels.pdf import write_pdf
from tagkit.labels.raster import render_colour
from tagkit.labels.template import Template, load_template
from tagkit.whole_file import whole_file

_EDGE = (150, 150, 150)  # of a label's face, which is not printed
_TABLE = (225, 225, 225)
_MARK = (200, 0, 90)
_GAP = 12  # pixels between pages
_MOST_PIXELS = 60_000_000


@dataclass(frozen=True)
class Preview:
    """What was drawn."""

    file: Path
    template: str
    language: str
    samples: int
    pixels: tuple[int, int]

    def to_json(self) -> dict[str, Any]:
        """As the command prints it."""
        return {"file": str(self.file), "template": self.template, "language": self.language,
                "samples": self.samples, "pixels": list(self.pixels)}  # fmt: skip


def draw_preview(
    name: str | Path, out: Path, language: str | None = None, link: bool = False, dpi: int = 150
) -> Preview:
    """Draw samples on the template ``name`` into the PNG file ``out``.

    Labels of a roll stand below one another, those of a sheet on their sheet. Without a
    ``language`` that the template has room for, its first one is taken.
    """
    template, spoken, samples, whole = _drawn(name, language, link, dpi)
    with whole_file(out) as part:
        whole.save(part, "PNG", dpi=(dpi, dpi), optimize=True)
    return Preview(out, template.name, spoken, samples, whole.size)


def preview_bytes(name: str | Path, language: str | None = None, dpi: int = 100) -> bytes:
    """The same picture as the bytes of a PNG file."""
    picture = io.BytesIO()
    _drawn(name, language, False, dpi)[3].save(picture, "PNG", dpi=(dpi, dpi))
    return picture.getvalue()


def _drawn(
    name: str | Path, language: str | None, link: bool, dpi: int
) -> tuple[Template, str, int, Any]:
    from PIL import Image

    template = load_template(name)
    if not 30 <= dpi <= 1200:
        raise WrongInput(f"{dpi} dpi is not possible", "From 30 to 1200", "--dpi")
    spoken = language if language in template.languages else template.languages[0]
    layouts = [
        lay_out(content, template)
        for kind in template.kinds
        for content in sample(kind, spoken, link)
    ]
    _check_size(template, len(layouts), dpi)
    pdf = io.BytesIO()
    write_pdf(layouts, template, pdf)
    pages = [Image.fromarray(page) for page in render_colour(pdf.getvalue(), dpi)]
    for number, layout in enumerate(layouts):
        page, left, top = template.place(number)
        _mark(pages[page], template, layout, left, top, dpi / 25.4)
    whole = Image.new(
        "RGB",
        (max(page.width for page in pages) + 2 * _GAP,
         sum(page.height + _GAP for page in pages) + _GAP),
        _TABLE,
    )  # fmt: skip
    y = _GAP
    for picture in pages:
        whole.paste(picture, (_GAP, y))
        y += picture.height + _GAP
    return template, spoken, len(layouts), whole


def _check_size(template: Template, labels: int, dpi: int) -> None:
    pages = -(-labels // template.labels_on_page)
    width, height = template.stock.page
    if pages * width * height * (dpi / 25.4) ** 2 > _MOST_PIXELS:
        raise WrongInput("the picture would be too large", "Give a smaller --dpi", "--dpi")


def _mark(
    page: Any, template: Template, layout: Layout, left: float, top: float, scale: float
) -> None:
    """The edge of the label face, and SAMPLE across every symbol."""
    from PIL import Image, ImageDraw, ImageFont

    from tagkit.resources import fonts

    width, height = template.stock.label
    pen = ImageDraw.Draw(page)
    edge = [left * scale, top * scale, (left + width) * scale - 1, (top + height) * scale - 1]
    pen.rectangle(edge, outline=_EDGE)
    for box in layout.symbols:
        side = max(8, round(box.width * scale))
        letters = ImageFont.truetype(str(fonts() / "DejaVuSansCondensed-Bold.ttf"), side * 0.26)
        band = Image.new("RGBA", (round(side * 1.3), round(side * 0.36)), (*_MARK, 215))
        ImageDraw.Draw(band).text(
            (band.width / 2, band.height / 2), "SAMPLE", (255, 255, 255, 255), letters, "mm"
        )
        band = band.rotate(30, expand=True, resample=Image.Resampling.BICUBIC)
        x = round((left + box.x) * scale + (side - band.width) / 2)
        y = round((top + box.y) * scale + (side - band.height) / 2)
        page.paste(band, (x, y), band)
