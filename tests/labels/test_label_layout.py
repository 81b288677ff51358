"""Nothing on a label overlaps, leaves it or is cut, whatever the plate says."""

from __future__ import annotations

import io
import itertools
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from label_samples import LINK, PLATES, battery, sample_layouts
from tagkit.assets.fields import fields_of
from tagkit.assets.kinds import PLATES as PLATE_CLASSES
from tagkit.assets.stated import Source, Stated
from tagkit.assets.tag import Kind, serials_after, tag_for
from tagkit.errors import WrongInput
from tagkit.labels.content import content_for
from tagkit.labels.drawing import Area, Box, Frame, Modules, Words
from tagkit.labels.layout import Layout, lay_out
from tagkit.labels.pdf import write_pdf
from tagkit.labels.raster import render_pages
from tagkit.labels.symbol_room import module_for, symbol_for
from tagkit.labels.template import Template, load_template
from tagkit.labels.template_model import QUIET
from tagkit.resources import label_templates
from tagkit.units import Quantity, quantity

NAMES = sorted(path.stem for path in label_templates().glob("*.toml"))
ASSETS = [name for name in NAMES if isinstance(load_template(name).kinds[0], Kind)]
CASES = [(name, language) for name in NAMES for language in load_template(name).languages]


def check_geometry(layout: Layout, template: Template) -> None:
    """Every mark has its own place on the label face or, for sorting, on the liner."""
    stock = template.stock
    room = template.face.shrunk(stock.margin)
    whole = Box(0, 0, stock.label[0] + stock.liner_right, stock.label[1] + stock.liner_bottom)
    for mark in layout.marks:
        bounds = mark.bounds()
        on_liner = isinstance(mark, Words) and not bounds.overlaps(template.face)
        assert bounds.inside(whole if on_liner else room, 0.02), mark
    for first, second in itertools.combinations(layout.marks, 2):
        a, b = first.bounds(), second.bounds()
        if isinstance(first, Frame) and isinstance(second, Modules) and b.inside(a):
            quiet = a.shrunk(first.line + QUIET * second.module)
            assert b.inside(quiet, 0.01), "the quiet zone is not free"
            continue
        if isinstance(first, Area) and isinstance(second, Words) and second.ink == "white":
            assert b.inside(a, 0.01) or not b.overlaps(a), "white words leave their bar"
            continue
        assert not a.overlaps(b, 0.01), (first, second)
    for mark in layout.marks:
        if isinstance(mark, Words) and mark.ink == "white":
            bars = [other for other in layout.marks if isinstance(other, Area)]
            assert any(mark.bounds().inside(bar.box, 0.01) for bar in bars)


@pytest.mark.parametrize(("name", "language"), CASES)
def test_everything_has_its_place_on_every_template(name, language):
    template = load_template(name)
    for layout in sample_layouts(template, language):
        check_geometry(layout, template)


@pytest.mark.parametrize("name", ASSETS)
def test_a_link_in_the_symbol_leaves_everything_in_place(name):
    template = load_template(name)
    for layout in sample_layouts(template, "en", link=True):
        check_geometry(layout, template)
        assert layout.printed.version == 5


@pytest.mark.parametrize("name", NAMES)
def test_no_pixel_is_black_where_no_mark_is(name):
    """The rendered page against the geometry: what the measures say is what is drawn."""
    template = load_template(name)
    layouts = sample_layouts(template, template.languages[-1])
    pdf = io.BytesIO()
    write_pdf(layouts, template, pdf)
    dpi = 150
    scale = dpi / 25.4
    pages = list(render_pages(pdf.getvalue(), dpi))
    allowed = [np.zeros(page.shape, bool) for page in pages]
    for number, layout in enumerate(layouts):
        page, left, top = template.place(number)
        for mark in layout.marks:
            box = mark.bounds()
            x, y = (left + box.x) * scale, (top + box.y) * scale
            rows = slice(int(y - 1.5), int(y + box.height * scale + 2.5))
            columns = slice(max(0, int(x - 2)), int(x + box.width * scale + 3))
            allowed[page][rows, columns] = True
            ink = pages[page][rows, columns]
            assert ink.min() < 160, f"nothing is drawn for {mark}"
    for page, covered in zip(pages, allowed, strict=True):
        assert not np.any((page < 200) & ~covered)


@pytest.mark.parametrize("name", NAMES)
def test_modules_and_frame_stand_on_whole_printer_dots(name):
    template = load_template(name)
    for layout in sample_layouts(template, "en")[:1]:
        for mark in layout.marks:
            if isinstance(mark, Modules):
                for length in (mark.x, mark.y, mark.module):
                    assert abs(length / template.dot - round(length / template.dot)) < 1e-6
                assert mark.module >= template.reading.smallest_module() - 1e-9


def test_the_frame_is_two_modules_thick_and_four_from_the_symbol():
    layout = sample_layouts(load_template("battery-side"), "en")[0]
    frames = [mark for mark in layout.marks if isinstance(mark, Frame)]
    symbols = [mark for mark in layout.marks if isinstance(mark, Modules)]
    assert len(frames) == len(symbols) == len(layout.symbols) == 2
    for frame, symbol in zip(frames, symbols, strict=True):
        assert frame.line == pytest.approx(2 * symbol.module)
        assert symbol.x - frame.box.x == pytest.approx(6 * symbol.module)
        assert frame.box.width == pytest.approx((symbol.symbol.size + 12) * symbol.module)


def test_the_serial_is_the_largest_part_of_the_number():
    layout = sample_layouts(load_template("sheet-a4"), "en")[0]
    sizes = {mark.text: mark.size for mark in layout.marks if isinstance(mark, Words)}
    assert sizes["00417"] > 1.5 * sizes["B-QM-"]
    assert sizes["00417"] == max(sizes.values())


def words_on(layout: Layout) -> list[str]:
    return [mark.text for mark in layout.marks if isinstance(mark, Words)]


def test_an_unknown_weight_stands_white_on_black_and_is_never_blank_or_zero():
    template = load_template("battery-side")
    tag = tag_for(Kind.BATTERY, "QM", 417)
    facts = battery()
    facts = type(facts)(**{**facts.__dict__, "weight": None})
    layout = lay_out(
        content_for(Kind.BATTERY, tag, facts, str(tag), "en", "Quillmoor Cold Store"), template
    )
    white = [m.text for m in layout.marks if isinstance(m, Words) and m.ink == "white"]
    assert "not known: do not use" in white
    assert not any("kg" in text or "lb" in text for text in words_on(layout))


def test_the_record_gets_what_is_needed_to_draw_the_symbol_again():
    printed = sample_layouts(load_template("sheet-a4"), "en", link=True)[0].printed
    assert str(printed.tag) == "B-QM-00417-D"
    assert printed.payload == f"{LINK}B-QM-00417-D"
    assert (printed.template, printed.revision, printed.version) == ("sheet-a4", 1, 5)
    assert printed.level == "H"
    assert printed.mask in range(8)


def test_the_mask_can_be_chosen():
    tag = tag_for(Kind.BATTERY, "QM", 417)
    content = content_for(Kind.BATTERY, tag, battery(), str(tag), "en", "")
    layout = lay_out(content, load_template("sheet-a4"), mask=6)
    assert layout.printed.mask == 6


@pytest.mark.parametrize(
    ("name", "kind", "language", "says"),
    [
        ("truck-plate", Kind.BATTERY, "en", "not for battery labels"),
        ("battery-side", Kind.TRUCK, "en", "not for truck labels"),
        ("battery-top", Kind.BATTERY, "en+es", "no room for the language"),
    ],
)
def test_a_template_for_something_else_is_refused(name, kind, language, says):
    tag = tag_for(kind, "QM", 420)
    content = content_for(kind, tag, PLATES[kind][0], str(tag), language, "")
    with pytest.raises(WrongInput, match=says):
        lay_out(content, load_template(name))


def test_a_payload_too_long_for_the_reading_distance_is_refused_with_what_would_do():
    tag = tag_for(Kind.BATTERY, "QM", 417)
    payload = f"HTTPS://{'X' * 200}.EXAMPLE/A/{tag}"
    content = content_for(Kind.BATTERY, tag, battery(), payload, "en", "")
    with pytest.raises(WrongInput, match=r"make the symbol .* mm wide.*camera.*shorter payload|"
                                         r"Make the symbol .* mm wide"):  # fmt: skip
        lay_out(content, load_template("sheet-a4"))


_SOURCES = st.sampled_from(Source)
_FREE = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), min_size=1,
                max_size=120)  # fmt: skip
_UNITS = {"kg": ("kg", "lb", "t"), "mm": ("mm", "in"), "V": ("V",), "Ah": ("Ah",),
          "A": ("A",), "°C": ("°C",), "SG": ("SG",)}  # fmt: skip


@st.composite
def facts_for(draw, spec):
    if draw(st.integers(0, 3)) == 0:
        return None
    source = draw(_SOURCES)

    def measured() -> Quantity:
        base = quantity(
            draw(st.decimals(str(spec.low), str(spec.high), places=draw(st.integers(0, 2)))),
            spec.dimension.value,
        )
        return base.rounded_to(draw(st.sampled_from(_UNITS[spec.dimension.value])), 1)

    match spec.reads:
        case "quantity":
            value = measured()
        case "quantities":
            value = tuple(measured() for _ in range(draw(st.integers(1, 3))))
        case "number":
            value = draw(st.integers(int(spec.low), int(spec.high)))
        case "text":
            value = draw(_FREE)
        case "choice":
            value = draw(st.sampled_from(sorted(spec.choices)))
        case "choices":
            value = tuple(draw(st.sets(st.sampled_from(sorted(spec.choices)), min_size=1)))
        case "flag":
            value = draw(st.booleans())
        case _:
            value = draw(st.dates(date(1990, 1, 1), date(2040, 1, 1))).isoformat()
    return Stated(value, source)


@settings(max_examples=120, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_any_plate_lays_out_inside_or_says_what_does_not_fit(data):
    name, language = data.draw(st.sampled_from([case for case in CASES if case[0] in ASSETS]))
    template = load_template(name)
    kind = data.draw(st.sampled_from(template.kinds))
    cls = PLATE_CLASSES[kind]
    facts = cls(**{
        field: data.draw(facts_for(spec), label=field)
        for field, spec in fields_of(cls).items()
        if field in ("maker_serial", "voltage", "voltages", "weight", "ballast", "capacity",
                     "capacity_rate", "chemistry", "connector", "weight_min", "weight_max",
                     "capacity_min", "capacity_max", "fleet_number", "bay", "gear", "rated_load",
                     "own_weight", "equipment", "check", "check_every")
    })  # fmt: skip
    site = data.draw(st.sampled_from(["QM", "ABCD"]))
    last = data.draw(st.integers(0, 9_999_000))
    tag = tag_for(kind, site, next(serials_after(kind, site, last)))
    content = content_for(kind, tag, facts, str(tag), language, data.draw(_FREE), unloading=999)
    try:
        layout = lay_out(content, template)
    except WrongInput as error:
        assert error.remedy
        assert template.where in error.where
        return
    check_geometry(layout, template)


def test_a_link_takes_the_stronger_code_where_it_stays_readable():
    template = load_template("battery-side")
    link = "HTTPS://LABELS.EXAMPLE/A/B-QM-00417-D"
    symbol = symbol_for(link, template)
    assert (symbol.version, symbol.level) == (5, "H")
    assert module_for(template, 5) >= template.reading.smallest_module()
    farther = replace(template, reading=replace(template.reading, distance=800.0))
    assert symbol_for(link, farther).version == 4, "there only the larger modules are readable"
    assert symbol_for("B-QM-00417-D", template).version == 2
