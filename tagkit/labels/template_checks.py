"""What makes a template unfit for printing: said with the file, the key and what would do."""

from __future__ import annotations

from tagkit.assets.card import CardKind
from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.labels.drawing import Box
from tagkit.labels.symbol_room import module_for, symbol_boxes
from tagkit.labels.template_model import Purpose, Template
from tagkit.symbol.encode import smallest_version

_APART = 0.5  # mm between what is printed and the symbol's frame
# Characters of the longest code: four letters of site code, seven digits or a person's sixteen.
_LONGEST: dict[Purpose, int] = {
    **dict.fromkeys(Kind, 16),
    CardKind.COMMAND: 16,
    CardKind.BADGE: 35,
    CardKind.OUT_OF_SERVICE: 24,
}


def check(template: Template) -> None:
    """WrongInput for a box outside the label, boxes that overlap, labels that do not go on their
    page, or a symbol that can't be read from the stated distance."""
    _check_stock(template)
    _check_symbol(template)
    _check_elements(template)


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
