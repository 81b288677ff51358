"""Label templates: one TOML file per stock and use, all lengths in mm.

Reading is strict: an unknown key, a wrong type, a box outside the label, boxes that overlap, or
a symbol that can't be read from the stated distance is an error that names the file, the key and
what is allowed. The keys are explained in label_templates/README.md.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from pathlib import Path

from tagkit.assets.card import CardKind
from tagkit.assets.tag import Kind
from tagkit.errors import NotFound, WrongInput
from tagkit.labels.drawing import Box
from tagkit.labels.keys import Keys
from tagkit.labels.reading import PIXELS_PER_MODULE, Reading
from tagkit.labels.signs import SIGNS
from tagkit.labels.words import SETTINGS
from tagkit.resources import label_templates
from tagkit.symbol.encode import smallest_version
from tagkit.symbol.tables import LEVELS, Level, size_of

Purpose = Kind | CardKind
KIND_WORDS: dict[str, Purpose] = {
    "battery": Kind.BATTERY,
    "truck": Kind.TRUCK,
    "charger": Kind.CHARGER,
    "lifting": Kind.LIFTING,
    "room": Kind.ROOM,
    **{kind.value: kind for kind in CardKind},
}
FIGURES = ("voltage", "weight", "capacity", "chemistry", "connector", "rated load", "reason")
SHOWS = (
    "number", "headline", "kind", "figures", *FIGURES, "signs", "caution", "sorting", "revision",
    "site",
)  # fmt: skip
QUIET = 4  # modules of light around the symbol (ISO/IEC 18004, clause 9.1)
FRAME_LINE = 2  # modules: thickness of the printed frame around the quiet zone
SMALLEST_LETTERS = 1.0  # mm height of capitals
MM_PER_INCH = 25.4
_APART = 0.5  # mm between what is printed and the symbol's frame
# Characters of the longest code: four letters of site code, seven digits or a person's sixteen.
_LONGEST: dict[Purpose, int] = {
    **dict.fromkeys(Kind, 16),
    CardKind.COMMAND: 16,
    CardKind.BADGE: 35,
    CardKind.OUT_OF_SERVICE: 24,
}


@dataclass(frozen=True)
class Stock:
    """The material: a sheet with rows and columns of labels, or a roll with one at a time."""

    page: tuple[float, float]
    label: tuple[float, float]
    columns: int
    rows: int
    first: tuple[float, float]
    pitch: tuple[float, float]
    margin: float  # nothing is printed nearer to the edge of the label face
    liner_right: float  # mm of liner beside the label face that may be printed on
    liner_bottom: float


@dataclass(frozen=True)
class SymbolPlan:
    """Where symbols stand and how large they may be; ``size`` is the frame's outer edge."""

    at: tuple[tuple[float, float], ...]
    size: float
    level: Level
    version: int | None

    def modules_across(self, version: int) -> int:
        """From the outer edge of the frame to the other, in modules."""
        return size_of(version) + 2 * (QUIET + FRAME_LINE)


@dataclass(frozen=True)
class Element:
    """Something the label shows, and the box it has to stay in."""

    show: str
    box: Box
    smallest: float  # height of capital letters, mm
    largest: float
    align: str
    columns: int
    signs: tuple[str, ...]  # empty: those of the kind of asset


@dataclass(frozen=True, eq=False)
class Template:
    """A checked template. Two of them are the same only when they are one object."""

    name: str
    description: str
    kinds: tuple[Purpose, ...]
    languages: tuple[str, ...]
    stock: Stock
    dpi: int
    symbol: SymbolPlan
    reading: Reading
    elements: tuple[Element, ...]
    where: str  # the file, for messages

    @property
    def dot(self) -> float:
        """The size of a printer dot in mm."""
        return MM_PER_INCH / self.dpi

    @property
    def face(self) -> Box:
        """The label face, its top left corner the origin."""
        return Box(0.0, 0.0, *self.stock.label)

    @property
    def labels_on_page(self) -> int:
        """How many labels a page carries."""
        return self.stock.columns * self.stock.rows

    def place(self, index: int) -> tuple[int, float, float]:
        """(page, left, top) of the label with this number, on whole printer dots."""
        page, slot = divmod(index, self.labels_on_page)
        row, column = divmod(slot, self.stock.columns)
        left = self.stock.first[0] + column * self.stock.pitch[0]
        top = self.stock.first[1] + row * self.stock.pitch[1]
        return page, self.on_dots(left), self.on_dots(top)

    def on_dots(self, length: float) -> float:
        """The length in mm, rounded to whole printer dots."""
        return round(length / self.dot) * self.dot


def templates() -> list[tuple[str, str]]:
    """(name, description) of every template that is shipped, by name."""
    found = [load_template(path) for path in sorted(label_templates().glob("*.toml"))]
    return [(template.name, template.description) for template in found]


def load_template(source: str | Path) -> Template:
    """The template in a file, or the shipped one of that name.

    Raises NotFound when there is none, WrongInput for anything that can't be printed or read.
    """
    path = Path(source)
    if not path.is_file():
        shipped = label_templates() / f"{source}.toml"
        if path.suffix == ".toml" or not shipped.is_file():
            names = ", ".join(sorted(file.stem for file in label_templates().glob("*.toml")))
            raise NotFound(
                f"there is no label template “{source}”", f"Use a .toml file or one of: {names}"
            )
        path = shipped
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise WrongInput(
            f"this file can't be read as text: {error}", "Save it as UTF-8", str(path)
        ) from None
    return parse_template(text, path.stem, path.name)


def parse_template(text: str, name: str, where: str) -> Template:
    """The template written in ``text``; ``where`` names its file in messages."""
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise WrongInput(f"this is not TOML: {error}", "Mend that line", where) from None
    top = Keys(table, where)
    template = Template(
        name=name,
        description=top.text("description"),
        kinds=tuple(KIND_WORDS[word] for word in top.several("kinds", tuple(KIND_WORDS))),
        languages=top.several("languages", SETTINGS),
        stock=_stock(top.section("stock")),
        dpi=_printer(top.section("printer")),
        symbol=_symbol(top.section("symbol")),
        reading=_reading(top.section("reading")),
        elements=tuple(_element(keys) for keys in top.sections("element")),
        where=where,
    )
    top.done()
    _check_stock(template)
    _check_symbol(template)
    _check_elements(template)
    return template


def _stock(keys: Keys) -> Stock:
    form = keys.one_of("form", ("sheet", "roll"))
    label = keys.pair("label", 10, 500)
    margin = keys.number("margin", 0, 20, default=1.5)
    right = keys.number("liner_right", 0, 60, default=0.0)
    bottom = keys.number("liner_bottom", 0, 60, default=0.0)
    if form == "roll":
        keys.done()
        page = (label[0] + right, label[1] + bottom)
        return Stock(page, label, 1, 1, (0.0, 0.0), page, margin, right, bottom)
    stock = Stock(
        page=keys.pair("page", 50, 1000),
        label=label,
        columns=keys.whole("columns", 1, 50),
        rows=keys.whole("rows", 1, 100),
        first=keys.pair("first", 0, 500),
        pitch=keys.pair("pitch", 10, 500),
        margin=margin,
        liner_right=right,
        liner_bottom=bottom,
    )
    keys.done()
    return stock


def _printer(keys: Keys) -> int:
    dpi = keys.whole("dpi", 100, 2400)
    keys.done()
    return dpi


def _symbol(keys: Keys) -> SymbolPlan:
    level = keys.one_of("level", LEVELS, default="H")
    plan = SymbolPlan(
        at=keys.pairs("at", 0, 500),
        size=keys.number("size", 5, 500),
        level=next(known for known in LEVELS if known == level),
        version=keys.whole("version", 1, 40, default=0) or None,
    )
    keys.done()
    return plan


def _reading(keys: Keys) -> Reading:
    reading = Reading(
        distance=keys.number("distance", 30, 20_000),
        camera_pixels=keys.whole("camera_pixels", 160, 20_000),
        camera_angle=keys.number("camera_angle", 5, 150),
        pixels_per_module=keys.number("pixels_per_module", 1, 20, default=PIXELS_PER_MODULE),
    )
    keys.done()
    return reading


def _element(keys: Keys) -> Element:
    show = keys.one_of("show", SHOWS)
    smallest, largest = keys.pair("letters", SMALLEST_LETTERS, 200, default=(1.2, 12.0))
    if smallest > largest:
        raise keys.wrong("letters", "the smallest height comes first", "Write [smallest, largest]")
    box = keys.four("box", -1, 500)
    element = Element(
        show=show,
        box=Box(*box),
        smallest=smallest,
        largest=largest,
        align=keys.one_of("align", ("left", "centre", "right"), default="left"),
        columns=keys.whole("columns", 1, 12, default=1),
        signs=keys.several("signs", tuple(SIGNS), default=()),
    )
    if min(box[:2]) < 0 or min(box[2:]) <= 0:
        raise keys.wrong(
            "box", "this box has no room", "Write [left, top, width, height], all in mm"
        )
    keys.done()
    return element


def _check_stock(template: Template) -> None:
    stock, where = template.stock, f"{template.where}, [stock]"
    across = stock.first[0] + (stock.columns - 1) * stock.pitch[0] + stock.label[0]
    down = stock.first[1] + (stock.rows - 1) * stock.pitch[1] + stock.label[1]
    for key, used, there in (("columns", across, stock.page[0]), ("rows", down, stock.page[1])):
        if used > there + 0.05:
            raise WrongInput(
                f"{key}: the labels reach {used:.1f} mm, but the page ends at {there:.1f} mm",
                "Check first, pitch, label and page",
                where,
            )
    cell = (stock.label[0] + stock.liner_right, stock.label[1] + stock.liner_bottom)
    counts = (stock.columns, stock.rows)
    for axis, (size, pitch, count) in enumerate(zip(cell, stock.pitch, counts, strict=True)):
        if count > 1 and size > pitch + 0.001:
            raise WrongInput(
                f"pitch: labels of {size:.1f} mm overlap at a pitch of {pitch:.1f} mm",
                f"Make the {'height' if axis else 'width'} smaller or the pitch larger",
                where,
            )


def _check_symbol(template: Template) -> None:
    plan = template.symbol
    room = template.face.shrunk(template.stock.margin)
    boxes = symbol_boxes(template)
    for box in boxes:
        if not box.inside(room, 0.01):
            raise WrongInput(
                f"at: a symbol of {plan.size:g} mm there leaves the label "
                f"({_said(room)} may be printed on)",
                "Move it or make it smaller",
                f"{template.where}, [symbol]",
            )
    for number, box in enumerate(boxes):
        if any(box.overlaps(other) for other in boxes[:number]):
            raise WrongInput(
                "at: two symbols overlap", "Move them apart", f"{template.where}, [symbol]"
            )
    longest = max(_LONGEST[kind] for kind in template.kinds)
    version = smallest_version(longest, True, plan.level)
    if plan.version is not None and plan.version < version:
        raise WrongInput(
            f"version: {plan.version} does not hold every number at level {plan.level}",
            f"Use {version} or more, or leave it out",
            f"{template.where}, [symbol]",
        )
    module_for(template, plan.version or version)


def symbol_boxes(template: Template) -> list[Box]:
    """The room of each symbol with its frame."""
    size = template.symbol.size
    return [Box(x, y, size, size) for x, y in template.symbol.at]


def module_for(template: Template, version: int) -> float:
    """The module in mm: the most printer dots that go into the symbol's room.

    Raises WrongInput, saying what would do, when that is too small for the template's reading
    distance and camera.
    """
    plan, reading = template.symbol, template.reading
    across = plan.modules_across(version)
    dots = math.floor(plan.size / template.dot / across + 1e-9)
    module = dots * template.dot
    needed = reading.smallest_module()
    if dots >= 1 and module >= needed - 1e-9:
        return module
    needed_dots = math.ceil(needed / template.dot - 1e-9)
    remedies = [f"make the symbol {needed_dots * across * template.dot:.1f} mm wide"]
    if dots >= 1:
        remedies += [
            f"read it from {reading.largest_distance(module):.0f} mm",
            f"take a camera of {reading.camera_needed(module)} pixels",
        ]
    raise WrongInput(
        f"a symbol of version {version} has modules of {module:.2f} mm in {plan.size:g} mm, too "
        f"small to read from {reading.distance:g} mm ({needed:.2f} mm needed)",
        f"{remedies[0][0].upper()}{', or '.join(remedies)[1:]}, or print a shorter payload",
        f"{template.where}, [symbol] size",
    )


def _check_elements(template: Template) -> None:
    face = template.face
    stock = template.stock
    room = face.shrunk(stock.margin)
    liners = [
        Box(face.right, 0.0, stock.liner_right, face.bottom),
        Box(0.0, face.bottom, face.right, stock.liner_bottom),
    ]
    symbols = [box.shrunk(-_APART) for box in symbol_boxes(template)]
    for number, element in enumerate(template.elements):
        where = f"{template.where}, element {number + 1} ({element.show})"
        on_liner = any(element.box.inside(liner, 0.01) for liner in liners)
        if not element.box.inside(room, 0.01) and not (on_liner and element.show == "sorting"):
            raise WrongInput(
                f"box: {_said(element.box)} leaves the label ({_said(room)} may be printed on)",
                "Move it or make it smaller",
                where,
            )
        if any(element.box.overlaps(symbol, 0.01) for symbol in symbols):
            raise WrongInput(
                f"box: it comes nearer than {_APART} mm to a symbol's frame", "Move it away", where
            )
        for earlier, other in enumerate(template.elements[:number]):
            if element.box.overlaps(other.box, 0.01):
                raise WrongInput(
                    f"box: it overlaps element {earlier + 1} ({other.show})",
                    "Move one of them",
                    where,
                )
    shown = {element.show for element in template.elements}
    for needed in dict.fromkeys(word for kind in template.kinds for word in _must_show(kind)):
        if needed not in shown:
            raise WrongInput(
                f"no element shows the {needed}",
                f'Add an [[element]] with show = "{needed}"',
                template.where,
            )


def _must_show(kind: Purpose) -> tuple[str, ...]:
    if kind is CardKind.OUT_OF_SERVICE:
        return "number", "headline", "reason", "caution"
    return ("headline",) if isinstance(kind, CardKind) else ("number",)


def _said(box: Box) -> str:
    return f"{box.x:g} to {box.right:g} mm across, {box.y:g} to {box.bottom:g} mm down"
