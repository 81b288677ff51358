"""The PDF: every symbol read by three decoders, fonts embedded, a whole file or none."""

from __future__ import annotations

import io

import cv2
import numpy as np
import pypdfium2
import pytest
import zxingcpp
from label_samples import delivery, sample_layouts
from tagkit.errors import WrongInput
from tagkit.labels.pdf import PlacedSymbol, placements, rectangles, write_pdf
from tagkit.labels.png import png_pages
from tagkit.labels.raster import render_pages
from tagkit.labels.template import Template, load_template
from tagkit.symbol.encode import encode

try:
    from pyzbar import pyzbar
except ImportError:  # the zbar library itself is missing
    pyzbar = None


def pdf_of(layouts, template: Template, **options) -> bytes:
    out = io.BytesIO()
    write_pdf(layouts, template, out, **options)
    return out.getvalue()


def cut_out(pages: list[np.ndarray], placed: PlacedSymbol, dpi: int) -> np.ndarray:
    """The symbol with its quiet zone and frame, as a camera would see it."""
    around = placed.symbol.shrunk(-placed.symbol.width * 0.26)
    scale = dpi / 25.4
    top, bottom = int(max(0, around.y * scale)), int(around.bottom * scale)
    left, right = int(max(0, around.x * scale)), int(around.right * scale)
    return np.ascontiguousarray(pages[placed.page][top:bottom, left:right])


def by_zxing(picture: np.ndarray) -> list[str]:
    return [found.text for found in zxingcpp.read_barcodes(picture)]


def by_opencv(picture: np.ndarray) -> list[str]:
    """OpenCV has two detectors; the first misses about one of 200 symbols, framed or not."""
    text, _, _ = cv2.QRCodeDetector().detectAndDecode(picture)
    return [text or cv2.QRCodeDetectorAruco().detectAndDecode(picture)[0]]


def by_zbar(picture: np.ndarray) -> list[str]:
    return [found.data.decode() for found in pyzbar.decode(picture)]


@pytest.mark.parametrize("name", ["sheet-a4", "battery-side"])
@pytest.mark.parametrize("decoder", [by_zxing, by_zbar, by_opencv])
def test_every_symbol_of_sixty_batteries_reads_as_its_payload_at_300_dpi(name, decoder):
    if decoder is by_zbar and pyzbar is None:
        pytest.skip("zbar is missing; install the system package libzbar0 (zbar)")
    template = load_template(name)
    layouts = delivery(template, 60)
    pages = list(render_pages(pdf_of(layouts, template), 300))
    placed = placements(layouts, template)
    assert len(placed) == 60 * len(template.symbol.at)
    assert {symbol.payload for symbol in placed} == {str(layout.printed.tag) for layout in layouts}
    for symbol in placed:
        picture = cut_out(pages, symbol, 300)
        picture = cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        assert decoder(picture) == [symbol.payload]


@pytest.mark.parametrize(
    "name", ["sheet-letter", "battery-top", "battery-cable", "truck-plate", "charger-plate",
             "gear-plate"]
)  # fmt: skip
def test_the_other_templates_read_back_too_with_a_link_in_the_symbol(name):
    template = load_template(name)
    layouts = sample_layouts(template, "es", link=True)
    pages = list(render_pages(pdf_of(layouts, template), 300))
    for symbol in placements(layouts, template):
        picture = cut_out(pages, symbol, 300)
        assert by_zxing(picture) == [symbol.payload]
        assert by_opencv(picture) == [symbol.payload]


def test_on_a_roll_every_module_is_exactly_its_printer_dots():
    template = load_template("battery-side")
    layouts = delivery(template, 2)
    pages = list(render_pages(pdf_of(layouts, template), template.dpi))
    for symbol in placements(layouts, template):
        size = encode(symbol.payload).size
        dots = round(symbol.symbol.width / template.dot / size)
        left, top = (round(edge / template.dot) for edge in symbol.symbol[:2])
        area = pages[symbol.page][top : top + size * dots, left : left + size * dots]
        expected = np.kron(np.array(encode(symbol.payload).matrix), np.ones((dots, dots)))
        wanted = np.where(expected, 0, 255)
        assert np.abs(area - wanted).max() <= 3, "a module ends between two dots"


def test_the_fonts_are_embedded_and_the_text_can_be_searched():
    template = load_template("sheet-a4")
    pdf = pdf_of(sample_layouts(template, "es"), template)
    assert pdf.count(b"/FontFile2") >= 2
    text = pypdfium2.PdfDocument(pdf)[0].get_textpage().get_text_range()
    assert "BATERÍA" in text
    assert "instrucciones" in text


def test_the_same_labels_give_the_same_file():
    template = load_template("sheet-a4")
    assert pdf_of(delivery(template, 3), template) == pdf_of(delivery(template, 3), template)


def test_pages_are_as_many_and_as_large_as_the_stock():
    template = load_template("sheet-a4")
    document = pypdfium2.PdfDocument(pdf_of(delivery(template, 9), template))
    assert len(document) == 2
    width, height = document[0].get_size()
    assert (width / 72 * 25.4, height / 72 * 25.4) == pytest.approx((210, 297), abs=0.1)
    roll = load_template("battery-top")
    document = pypdfium2.PdfDocument(pdf_of(delivery(roll, 3), roll))
    assert len(document) == 3


def test_a_sheet_partly_used_goes_on_where_it_ended():
    template = load_template("sheet-a4")
    layouts = delivery(template, 6)
    placed = placements(layouts, template, skip=3)
    assert [symbol.page for symbol in placed] == [0, 0, 0, 0, 0, 1]
    pages = list(render_pages(pdf_of(layouts, template, skip=3), 100))
    assert pages[0][: pages[0].shape[0] // 4].min() == 255, "the first row is not left empty"
    assert by_zxing(cut_out(list(render_pages(pdf_of(layouts, template, skip=3), 300)),
                            placed[0], 300)) == [placed[0].payload]  # fmt: skip


@pytest.mark.parametrize("skip", [-1, 8])
def test_more_places_than_a_sheet_has_can_not_be_left_empty(skip):
    template = load_template("sheet-a4")
    with pytest.raises(WrongInput, match="from 0 to 7"):
        pdf_of(delivery(template, 1), template, skip=skip)


def test_progress_is_told_after_each_label():
    template = load_template("sheet-a4")
    told = []
    pdf_of(delivery(template, 3), template, progress=lambda done, total: told.append((done, total)))
    assert told == [(1, 3), (2, 3), (3, 3)]


def test_a_run_that_is_broken_off_leaves_no_file_and_the_old_one_as_it_was(tmp_path):
    template = load_template("sheet-a4")
    out = tmp_path / "labels.pdf"
    out.write_bytes(b"yesterday's labels")

    def stop(done: int, total: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_pdf(delivery(template, 2), template, out, stop)
    assert out.read_bytes() == b"yesterday's labels"
    assert [path.name for path in tmp_path.iterdir()] == ["labels.pdf"]
    write_pdf(delivery(template, 2), template, out)
    assert out.read_bytes().startswith(b"%PDF")
    assert [path.name for path in tmp_path.iterdir()] == ["labels.pdf"]


def test_the_rectangles_cover_the_dark_modules_once_each():
    symbol = encode("B-QM-00417-D")
    drawn = np.zeros((symbol.size, symbol.size), int)
    for x, y, width, height in rectangles(symbol):
        drawn[y : y + height, x : x + width] += 1
    assert np.array_equal(drawn, np.array(symbol.matrix, int))
    assert len(rectangles(symbol)) < sum(row.count("1") for row in symbol.rows) / 2


@pytest.mark.parametrize("name", ["battery-top", "sheet-a4"])
def test_pictures_of_one_bit_read_back(name):
    from PIL import Image

    template = load_template(name)
    layouts = delivery(template, 2)
    pictures = list(png_pages(layouts, template, 300))
    assert len(pictures) == (2 if template.labels_on_page == 1 else 1)
    found = []
    for data in pictures:
        picture = Image.open(io.BytesIO(data))
        assert picture.mode == "1"
        assert picture.info["dpi"] == pytest.approx((300, 300), abs=0.1)
        found += by_zxing(np.array(picture.convert("L")))
    assert sorted(found) == sorted(str(layout.printed.tag) for layout in layouts)
