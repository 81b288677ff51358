"""A bad template is an error that names the file, the key and what is allowed."""

from __future__ import annotations

import re

import pytest
from tagkit.assets.card import CardKind
from tagkit.assets.tag import Kind
from tagkit.errors import NotFound, WrongInput
from tagkit.labels.symbol_room import module_for
from tagkit.labels.template import load_template, parse_template, templates
from tagkit.resources import label_templates

GOOD = (label_templates() / "sheet-a4.toml").read_text(encoding="utf-8")


def changed(old: str, new: str) -> str:
    assert old in GOOD
    return GOOD.replace(old, new, 1)


@pytest.mark.parametrize(
    ("text", "where", "says"),
    [
        ("description = ", "mine.toml", "not TOML"),
        (changed("rows = 4", "rows = four"), "mine.toml", r"not TOML.*line 10"),
        (changed("[stock]", "[stok]"), "mine.toml", "“stock” is missing"),
        (GOOD + "\n[extra]\nx = 1\n", "mine.toml", "“extra” is not known here. Allowed are: desc"),
        (changed("description =", "about ="), "mine.toml", "“description” is missing"),
        (changed('"A4 sheet', '"" #'), "mine.toml", "description: this must be a text"),
        (changed('"battery", "truck"', '"batery", "truck"'), "mine.toml",
         "kinds: “batery” is not allowed. Allowed are: battery, truck, charger"),
        (changed('"en", "es"', '"en", "en"'), "mine.toml", "languages: “en” stands there twice"),
        (changed('"en", "es"', '"en", "fr"'), "mine.toml", "“fr” is not allowed. Allowed are: en"),
        (changed('form = "sheet"', 'form = "leaf"'), r"\[stock\]", "Allowed are: sheet, roll"),
        (changed("page = [210.0, 297.0]", "page = 210"), r"\[stock\]", "page: .*2 numbers"),
        (changed("label = [99.1, 67.7]", "label = [99.1, true]"), r"\[stock\]",
         "label: “True” can't stand here. Write a number from 10 to 500"),
        (changed("columns = 2", "columns = 2.5"), r"\[stock\]", "whole number from 1 to 50"),
        (changed("columns = 2", "columns = 3"), r"\[stock\]", "columns: the labels reach 306.9 mm"),
        (changed("rows = 4", "rows = 9"), r"\[stock\]", "rows: the labels reach .* 297.0 mm"),
        (changed("pitch = [101.6, 67.7]", "pitch = [90.0, 60.0]"), r"\[stock\]",
         "pitch: labels of 99.1 mm overlap"),
        (changed("margin = 2.0", "margins = 2.0"), r"\[stock\]", "“margins” is not known here"),
        (changed("dpi = 600", "dpi = 60"), r"\[printer\]", "dpi: .*from 100 to 2400"),
        (changed('level = "H"', 'level = "X"'), r"\[symbol\]", "level: .*Allowed are: L, M, Q, H"),
        (changed("at = [[3.0, 3.0]]", "at = [3.0, 3.0]"), r"\[symbol\]", "at: .*list like"),
        (changed("at = [[3.0, 3.0]]", "at = [[3.0, 3.0], [4.0, 4.0]]"), r"\[symbol\]",
         "two symbols overlap"),
        (changed("at = [[3.0, 3.0]]", "at = [[3.0, 33.0]]"), r"\[symbol\]", "leaves the label"),
        (changed('level = "H"', 'level = "H"\nversion = 1'), r"\[symbol\]",
         "version: 1 does not hold every number at level H. Use 2 or more"),
        (changed("distance = 650", "distance = 3000"), r"\[symbol\] size",
         r"too small to read from 3000 mm \(3\.61 mm needed\). Make the symbol .* mm wide, or read "
         r"it from 880 mm, or take a camera of 6547 pixels"),
        (changed("camera_angle = 60", "camera_angle = 200"), r"\[reading\]", "from 5 to 150"),
        (changed('show = "number"', 'show = "nummer"'), "element 1", "show: .*Allowed are: number"),
        (changed('show = "number"', 'show = "site"'), "mine.toml", "no element shows the number"),
        (changed("letters = [4.0, 12.0]", "letters = [12.0, 4.0]"), "element 1",
         "letters: the smallest height comes first"),
        (changed("letters = [4.0, 12.0]", "letters = [0.5, 4.0]"), "element 1", "from 1 to 200"),
        (changed("box = [45.5, 8.5, 51.0, 13.5]", "box = [45.5, 8.5, 55.0, 13.5]"),
         r"element 1 \(number\)", "box: .* leaves the label"),
        (changed("box = [45.5, 8.5, 51.0, 13.5]", "box = [40.0, 8.5, 51.0, 13.5]"),
         r"element 1 \(number\)", "nearer than 0.5 mm to a symbol"),
        (changed("box = [45.5, 8.5, 51.0, 13.5]", "box = [45.5, 8.5, 51.0, 0]"),
         "element 1", "box: this box has no room"),
        (changed("box = [45.5, 8.5, 51.0, 13.5]", "box = [45.5, 8.5, 51.0, 20]"),
         r"element 3 \(figures\)", r"box: it overlaps element 1 \(number\)"),
        (changed("[[element]]", "[element]").split("[[element]]")[0], "mine.toml",
         r"element: this must be repeated sections. Write \[\[element\]\]"),
    ],
)  # fmt: skip
def test_a_bad_template_says_where_and_what_is_allowed(text, where, says):
    with pytest.raises(WrongInput, match=f"(?s)mine.toml.*{says}") as caught:
        parse_template(text, "mine", "mine.toml")
    assert re.search(where, caught.value.where)
    assert caught.value.remedy


def test_there_are_templates_for_every_kind_and_at_least_twelve():
    shipped = templates()
    assert len(shipped) >= 12
    assert all(description for _, description in shipped)
    kinds = {kind for name, _ in shipped for kind in load_template(name).kinds}
    assert kinds == {*Kind, *CardKind}


def test_every_shipped_template_reads_links_of_a_usual_length_from_its_distance():
    for name, _ in templates():
        assert module_for(load_template(name), version=5) > 0


def test_a_template_is_found_by_name_or_by_file(tmp_path):
    mine = tmp_path / "mine.toml"
    mine.write_text(GOOD, encoding="utf-8")
    assert load_template(mine).name == "mine"
    assert load_template(str(mine)).stock == load_template("sheet-a4").stock


@pytest.mark.parametrize("name", ["nothing", "nothing.toml", "../sheet-a4", "W" * 10_000, "a\0b"])
def test_a_template_that_is_not_there_is_not_found_and_the_names_are_told(name):
    with pytest.raises(NotFound, match=r"no label template.*battery-side.*sheet-a4"):
        load_template(name)


def test_a_template_in_another_encoding_says_so(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_bytes("description = “é”".encode("utf-16"))
    with pytest.raises(WrongInput, match="Save it as UTF-8"):
        load_template(file)


def test_labels_stand_on_whole_printer_dots_of_the_sheet():
    template = load_template("sheet-a4")
    for index in range(template.labels_on_page):
        page, left, top = template.place(index)
        assert page == 0
        for edge in (left, top):
            assert abs(edge / template.dot - round(edge / template.dot)) < 1e-6
    assert template.place(template.labels_on_page)[0] == 1
