"""Label templates: one TOML file per stock and use, all lengths in mm.

Reading is strict: an unknown key, a wrong type, a box outside the label, boxes that overlap, or
a symbol that can't be read from the stated distance is an error that names the file, the key and
what is allowed. The keys are explained in label_templates/README.md.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from tagkit.assets.card import CardKind
from tagkit.assets.tag import Kind
from tagkit.errors import NotFound, WrongInput
from tagkit.labels.drawing import Box
from tagkit.labels.keys import Keys
from tagkit.labels.reading import PIXELS_PER_MODULE, Reading
from tagkit.labels.signs import SIGNS
from tagkit.labels.template_checks import check
from tagkit.labels.template_model import (
    FIGURES,
    SMALLEST_LETTERS,
    Element,
    Purpose,
    Stock,
    SymbolPlan,
    Template,
)
from tagkit.labels.words import SETTINGS
from tagkit.resources import label_templates
from tagkit.symbol.tables import LEVELS

__all__ = ["KIND_WORDS", "SHOWS", "Template", "load_template", "parse_template", "templates"]

KIND_WORDS: dict[str, Purpose] = {
    "battery": Kind.BATTERY,
    "truck": Kind.TRUCK,
    "charger": Kind.CHARGER,
    "lifting": Kind.LIFTING,
    "room": Kind.ROOM,
    **{kind.value: kind for kind in CardKind},
}
_NAME = re.compile(r"[a-z0-9-]+")
SHOWS = (
    "number", "headline", "kind", "figures", *FIGURES, "signs", "caution", "sorting", "revision",
    "site",
)  # fmt: skip


def templates() -> list[tuple[str, str]]:
    """(name, description) of every template that is shipped, by name."""
    found = [load_template(path) for path in sorted(label_templates().glob("*.toml"))]
    return [(template.name, template.description) for template in found]


def load_template(source: str | Path) -> Template:
    """The template in a file, or the shipped one of that name.

    Raises NotFound when there is none, WrongInput for anything that can't be printed or read.
    """
    path = Path(source)
    return _read(path) if _is_file(path) else shipped_template(str(source))


def shipped_template(name: str) -> Template:
    """The shipped template of that name; for whoever may name no files of this computer.

    Raises NotFound when there is none.
    """
    path = label_templates() / f"{name}.toml"
    if not (_NAME.fullmatch(name) and _is_file(path)):
        names = ", ".join(sorted(file.stem for file in label_templates().glob("*.toml")))
        raise NotFound(
            f"there is no label template “{name[:100]}”", f"Use a .toml file or one of: {names}"
        )
    return _read(path)


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # no name that a file could have
        return False


def _read(path: Path) -> Template:
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
    check(template)
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
