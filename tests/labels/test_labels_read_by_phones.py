"""Undamaged labels are read by general decoders: every template, every form of the payload.

What is drawn here is the symbol in its frame, as the layout chose it; that files hold exactly
these modules is shown by the tests of PDF, PNG and SVG.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import zxingcpp
from label_samples import PLATES, card_contents
from tagkit.assets.card import CardKind
from tagkit.assets.payload import PayloadForm, PayloadStyle, payload_for
from tagkit.assets.tag import Tag, serials_after, tag_for
from tagkit.labels.content import LabelContent, content_for
from tagkit.labels.drawing import Modules
from tagkit.labels.layout import lay_out
from tagkit.labels.template import Template, load_template, templates
from tagkit.labels.template_model import FRAME_LINE, QUIET

try:
    from pyzbar import pyzbar
except ImportError:  # the wheel is there, the shared library is not
    pyzbar = None

STYLES = {
    "bare": PayloadStyle(),
    "link": PayloadStyle(PayloadForm.LINK, "labels.example"),
    "digital link": PayloadStyle(PayloadForm.DIGITAL_LINK, "labels.example", "9506000"),
}
NAMES = [name for name, _ in templates()]

_EACH = 3


def contents(template: Template, style: PayloadStyle) -> list[LabelContent]:
    found = []
    for kind in template.kinds:
        if isinstance(kind, CardKind):
            cards = {card.payload: card for card in card_contents(kind, "en")}
            found += cards.values()
            continue
        tags = [tag_for(kind, "QM", serial) for serial, _ in zip(
            serials_after(kind, "QM", 416), range(_EACH), strict=False)]  # fmt: skip
        tags.append(Tag(kind, "ABCD", next(serials_after(kind, "ABCD", 9_999_000))))
        found += [
            content_for(kind, tag, PLATES[kind][0], payload_for(tag, style), "en", "Depot")
            for tag in tags
        ]
    return found


def seen(modules: Modules) -> np.ndarray:
    """Three pixels a module, a little soft, in its frame on a label a little larger."""
    dark = np.pad(np.array(modules.symbol.matrix, bool), QUIET)
    dark = np.pad(np.pad(dark, FRAME_LINE, constant_values=True), 6)
    grey = np.where(np.kron(dark, np.ones((3, 3), bool)), 35, 225).astype(np.uint8)
    return cv2.GaussianBlur(grey, (0, 0), 0.6)


def by_opencv(picture: np.ndarray) -> list[str]:
    text, _, _ = cv2.QRCodeDetector().detectAndDecode(picture)
    return [text or cv2.QRCodeDetectorAruco().detectAndDecode(picture)[0]]


@pytest.mark.parametrize("form", STYLES)
@pytest.mark.parametrize("name", NAMES)
def test_phones_read_every_undamaged_label(name: str, form: str) -> None:
    template = load_template(name)
    if form != "bare" and all(isinstance(kind, CardKind) for kind in template.kinds):
        form = "bare"  # cards have a code of their own
    for content in contents(template, STYLES[form]):
        layout = lay_out(content, template)
        (modules, *_) = (mark for mark in layout.marks if isinstance(mark, Modules))
        picture = seen(modules)
        assert [found.text for found in zxingcpp.read_barcodes(picture)] == [content.payload]
        assert by_opencv(picture) == [content.payload]


@pytest.mark.parametrize("name", NAMES)
def test_so_does_zbar(name: str) -> None:
    if pyzbar is None:
        pytest.skip("zbar is missing; install the system package libzbar0 (zbar)")
    template = load_template(name)
    for form, style in STYLES.items():
        for content in contents(template, style):
            if form != "bare" and isinstance(content.kind, CardKind):
                continue
            layout = lay_out(content, template)
            (modules, *_) = (mark for mark in layout.marks if isinstance(mark, Modules))
            read = [found.data.decode() for found in pyzbar.decode(seen(modules))]
            assert read == [content.payload]
