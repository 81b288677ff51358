"""The README of the templates lists every file and every key that there is."""

from __future__ import annotations

import re

import pytest
from label_samples import sample_layouts
from tagkit.errors import WrongInput
from tagkit.labels.signs import SIGNS
from tagkit.labels.template import KIND_WORDS, SHOWS, parse_template
from tagkit.resources import label_templates

README = (label_templates() / "README.md").read_text(encoding="utf-8")


def test_every_template_stands_in_its_table() -> None:
    listed = set(re.findall(r"^\| `([a-z0-9-]+)` \| [^|]+ \| [^|]+ \|$", README, re.MULTILINE))
    assert listed == {path.stem for path in label_templates().glob("*.toml")}


def test_everything_that_can_be_shown_is_explained() -> None:
    for word in (*SHOWS, *KIND_WORDS, *SIGNS):
        assert f"`{word}`" in README, word


def test_who_follows_its_ten_minutes_gets_a_template_that_holds_every_label() -> None:
    """Step by step: the copy, what is written in, the boxes that are moved."""
    text = (label_templates() / "battery-small.toml").read_text(encoding="utf-8")
    lines = re.findall(r"^ {7}(\w+ = .+)$", README, re.MULTILINE)
    assert {line.split(" = ")[0] for line in lines} >= {"description", "label", "size", "distance"}
    for line in lines:
        key = line.split(" = ")[0]
        text, changed = re.subn(rf"^{key} = .+$", line, text, count=1, flags=re.MULTILINE)
        assert changed == 1, key
    with pytest.raises(WrongInput, match=r"number.*nearer than 0\.5 mm to a symbol's frame"):
        parse_template(text, "my-battery", "my-battery.toml")
    boxes = re.findall(r"(\w+) +(\[[\d., ]{14,}\])", README)
    assert len(boxes) == 7
    for show, box in boxes:
        text, changed = re.subn(rf'(show = "{show}"\nbox = )\[.+\]', rf"\g<1>{box}", text)
        assert changed == 1, show
    template = parse_template(text, "my-battery", "my-battery.toml")
    for language in template.languages:
        assert sample_layouts(template, language)
