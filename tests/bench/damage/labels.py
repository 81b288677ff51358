"""Our own labels as they come from the printer: laid out, written as PDF, rendered, cut out.

Only templates with one symbol are used here: on the big stock a second, undamaged symbol would
answer for the damaged one. Every print is brought to ``PER_MODULE`` pixels a module with the
symbol's corner on a whole pixel, so that the truth about each module needs no rounding.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from io import BytesIO
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from tagkit.assets.battery import Battery
from tagkit.assets.charger import Charger
from tagkit.assets.fields import fields_of, read_fact
from tagkit.assets.lifting import Lifting
from tagkit.assets.stated import Source
from tagkit.assets.tag import Kind, Tag, serials_after, tag_for
from tagkit.assets.truck import Truck
from tagkit.labels.content import content_for
from tagkit.labels.layout import PrintedLabel, lay_out
from tagkit.labels.pdf import placements, write_pdf
from tagkit.labels.raster import render_pages
from tagkit.labels.template import Template, load_template
from tagkit.symbol.encode import encode

Form = Literal["bare", "link"]
PER_MODULE = 8
SITE = "QM"
OTHER_SITE = "QN"
LINK = "HTTPS://LABELS.EXAMPLE/A/"
TEMPLATES: dict[Kind, tuple[str, ...]] = {
    Kind.BATTERY: ("battery-top", "battery-cable"),
    Kind.TRUCK: ("truck-plate",),
    Kind.CHARGER: ("charger-plate",),
    Kind.LIFTING: ("gear-plate",),
}
# Every tenth serial is printed but not registered: a neighbour of those in the roster.
_WITHHELD = 7


@dataclass(frozen=True, eq=False)
class Print:
    """A label as printed. ``symbol`` is (column, row, side) in pixels of ``picture``."""

    printed: PrintedLabel
    picture: NDArray[np.uint8]  # white film 255, black 0; PER_MODULE pixels a module
    symbol: tuple[int, int, int]
    dark: NDArray[np.bool_]  # modules, by row and column

    @property
    def modules(self) -> int:
        """Modules along one side of the symbol."""
        return len(self.dark)


@lru_cache(maxsize=8)
def roster(size: int = 1000, site: str = SITE) -> tuple[Tag, ...]:
    """The registered tags: batteries, trucks, chargers and lifting gear, serials from 1 on."""
    shares = ((Kind.TRUCK, size * 15 // 100), (Kind.CHARGER, size * 15 // 100))
    shares += ((Kind.LIFTING, size * 5 // 100),)
    counts = ((Kind.BATTERY, size - sum(count for _, count in shares)), *shares)
    return tuple(tag for kind, count in counts for tag in _tags(kind, site, count, False))


@lru_cache(maxsize=8)
def neighbours(size: int = 1000, site: str = SITE) -> tuple[Tag, ...]:
    """Tags whose serials lie between those of the roster, yet are not in it."""
    kinds = ((Kind.BATTERY, 65), (Kind.TRUCK, 15), (Kind.CHARGER, 15), (Kind.LIFTING, 5))
    return tuple(
        tag
        for kind, share in kinds
        for tag in _tags(kind, site, max(1, size * share // 1000), True)
    )


def _tags(kind: Kind, site: str, count: int, withheld: bool) -> Iterator[Tag]:
    for index, serial in enumerate(serials_after(kind, site, 0)):
        if (index % 10 == _WITHHELD) is withheld:
            yield tag_for(kind, site, serial)
            count -= 1
            if count == 0:
                return


@lru_cache(maxsize=128)
def print_label(tag: Tag, template: str, form: Form = "link", payload: str | None = None) -> Print:
    """The label of ``tag`` on a template; ``payload`` replaces what the symbol says."""
    text = payload or (f"{LINK}{tag}" if form == "link" else str(tag))
    stock = _template(template, 4 if form == "link" else None)
    content = content_for(tag.kind, tag, _plate(tag), text, "en", "Quillmoor Cold Store")
    layout = lay_out(content, stock)
    pdf = BytesIO()
    write_pdf([layout], stock, pdf)
    placed = placements([layout], stock)[0]
    label, printed = placed.label, layout.printed
    dark = np.array(
        encode(printed.payload, printed.level, printed.version, printed.mask).matrix, bool
    )
    modules = len(dark)
    dpi = PER_MODULE * 25.4 * modules / placed.symbol.width
    page = next(iter(render_pages(pdf.getvalue(), dpi)))
    dots = PER_MODULE * modules / placed.symbol.width  # pixels per mm
    column, row = (
        round((placed.symbol.x - label.x) * dots / PER_MODULE) * PER_MODULE,
        round((placed.symbol.y - label.y) * dots / PER_MODULE) * PER_MODULE,
    )
    width, height = (PER_MODULE * (round(side * dots) // PER_MODULE)
                     for side in (label.width, label.height))  # fmt: skip
    move = np.array([[1, 0, column - placed.symbol.x * dots],
                     [0, 1, row - placed.symbol.y * dots]])  # fmt: skip
    picture = cv2.warpAffine(page, move, (width, height), flags=cv2.INTER_LINEAR, borderValue=255)
    return Print(printed, picture, (column, row, PER_MODULE * modules), dark)


@lru_cache(maxsize=16)
def _template(name: str, version: int | None) -> Template:
    """The laboratory's links stay in 4-H, whatever is printed by default."""
    stock = load_template(name)
    return replace(stock, symbol=replace(stock.symbol, version=version)) if version else stock


def _plate(tag: Tag) -> Any:
    """A nameplate whose figures vary with the serial."""
    number = tag.serial
    volts = (24, 36, 48, 80)[number % 4]
    if tag.kind is Kind.BATTERY:
        return _facts(
            Battery, voltage=f"{volts} V", weight=f"{600 + 7 * number % 1500} kg",
            capacity=f"{(375, 500, 625, 775)[number % 4]} Ah", capacity_rate="5",
            chemistry="vented", connector="320 A grey", maker_serial=f"{300 + number}-26",
        )  # fmt: skip
    if tag.kind is Kind.TRUCK:
        return _facts(
            Truck, voltage=f"{volts} V", weight_min=f"{600 + 7 * number % 1500} kg",
            weight_max=f"{760 + 7 * number % 1500} kg", fleet_number=f"R{number}",
        )  # fmt: skip
    if tag.kind is Kind.CHARGER:
        return _facts(
            Charger, voltages=f"{volts} V", capacity_min="400 Ah", capacity_max="840 Ah",
            capacity_rate="5", bay=f"A{number}",
        )  # fmt: skip
    return _facts(Lifting, gear="beam", rated_load="2000 kg", own_weight="85 kg")


def _facts(cls: Any, **facts: str) -> Any:
    specs = fields_of(cls)
    return cls(**{
        name: read_fact(specs[name], text, Source.NAMEPLATE) for name, text in facts.items()
    })  # fmt: skip
