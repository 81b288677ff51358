"""Labels into a PDF: time and bytes a label, with two peers in the same run.

Run by hand: python tests/bench/bench_labels.py [LABELS] [PEER_LABELS]

Every contender draws the same bare numbers as symbols of level H with a quiet zone, and a line
of text, one label a page or eight a sheet; tagkit draws its whole label besides (frame, figures,
signs, caution). Nothing is proofed. Peers run on fewer labels because they take so much longer;
their figures are per label too.
"""

from __future__ import annotations

import io
import itertools
import sys
import time
from collections.abc import Callable, Iterable

import qrcode
import qrcode.constants
from reportlab.graphics import renderPDF
from reportlab.graphics.barcode.qr import QrCodeWidget
from reportlab.graphics.shapes import Drawing
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas
from tagkit.assets.battery import Battery
from tagkit.assets.stated import Source, Stated
from tagkit.assets.tag import Kind, Tag, serials_after, tag_for
from tagkit.labels.content import content_for
from tagkit.labels.layout import lay_out
from tagkit.labels.pdf import write_pdf
from tagkit.labels.template import load_template
from tagkit.symbol.encode import encode
from tagkit.units import quantity

Contender = Callable[[list[Tag]], int]


def the_tags(count: int) -> list[Tag]:
    serials = itertools.islice(serials_after(Kind.BATTERY, "QM", 0), count)
    return [tag_for(Kind.BATTERY, "QM", serial) for serial in serials]


def the_battery(number: int) -> Battery:
    def catalogue(value: object) -> Stated:
        return Stated(value, Source.CATALOGUE)

    return Battery(
        maker_serial=catalogue(f"889-23-{number:05d}"),
        voltage=catalogue(quantity("48", "V")),
        weight=catalogue(quantity(1000 + number % 400, "kg")),
        capacity=catalogue(quantity("775", "Ah")),
        capacity_rate=catalogue(5),
        chemistry=catalogue("vented"),
    )


def tagkit_labels(template_name: str) -> Contender:
    def run(tags: list[Tag]) -> int:
        template = load_template(template_name)
        layouts = [
            lay_out(
                content_for(Kind.BATTERY, tag, the_battery(number), str(tag), "en",
                            "Quillmoor Cold Store", unloading=number + 1),
                template,
            )
            for number, tag in enumerate(tags)
        ]  # fmt: skip
        out = io.BytesIO()
        write_pdf(layouts, template, out)
        return len(out.getvalue())

    return run


def page_by_page(draw: Callable[[Canvas, Tag], None], tags: Iterable[Tag]) -> int:
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(120 * mm, 46 * mm), pageCompression=1)
    for tag in tags:
        draw(canvas, tag)
        canvas.setFont("Helvetica-Bold", 24)
        canvas.drawString(46 * mm, 30 * mm, str(tag))
        canvas.showPage()
    canvas.save()
    return len(out.getvalue())


def image_and_reportlab(tags: list[Tag]) -> int:
    def draw(canvas: Canvas, tag: Tag) -> None:
        code = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_H)
        code.add_data(str(tag))
        image = ImageReader(code.make_image().get_image())
        canvas.drawImage(image, 3 * mm, 3 * mm, 40 * mm, 40 * mm)

    return page_by_page(draw, tags)


def reportlab_widget(tags: list[Tag]) -> int:
    def draw(canvas: Canvas, tag: Tag) -> None:
        widget = QrCodeWidget(str(tag), barLevel="H", barWidth=40 * mm, barHeight=40 * mm)
        drawing = Drawing(40 * mm, 40 * mm)
        drawing.add(widget)
        renderPDF.draw(drawing, canvas, 3 * mm, 3 * mm)

    return page_by_page(draw, tags)


def measured(run: Contender, tags: list[Tag]) -> tuple[float, float, float]:
    """(processor ms, elapsed ms, bytes) a label."""
    run(tags[:3])
    processor, elapsed = time.process_time(), time.perf_counter()
    size = run(tags)
    count = len(tags)
    return (
        (time.process_time() - processor) * 1000 / count,
        (time.perf_counter() - elapsed) * 1000 / count,
        size / count,
    )


def symbols_only(tags: list[Tag]) -> int:
    for tag in tags:
        encode(str(tag))
    return 0


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    peers = int(sys.argv[2]) if len(sys.argv) > 2 else max(50, count // 20)
    rows: list[tuple[str, Contender, int]] = [
        ("tagkit, sheet-a4 (8 a page)", tagkit_labels("sheet-a4"), count),
        ("tagkit, battery-top (1 a page)", tagkit_labels("battery-top"), count),
        ("tagkit, battery-side (1 a page, 2 symbols)", tagkit_labels("battery-side"), count),
        ("  of which the symbol alone", symbols_only, count),
        ("qrcode image + reportlab (1 a page)", image_and_reportlab, peers),
        ("reportlab's QR widget (1 a page)", reportlab_widget, peers),
    ]
    print(f"{'':44}{'labels':>8}{'CPU ms':>9}{'ms':>8}{'bytes':>8}   each")
    for name, run, labels in rows:
        processor, elapsed, size = measured(run, the_tags(labels))
        print(f"{name:44}{labels:8}{processor:9.2f}{elapsed:8.2f}{size:8.0f}", flush=True)


if __name__ == "__main__":
    main()
