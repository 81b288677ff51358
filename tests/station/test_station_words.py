"""Every sentence of the station: no key without words, no words without a use."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import pytest
import tagkit.station
from tagkit.station import situation
from tagkit.station.words import ENGLISH, Line, say

SOURCE = "".join(
    path.read_text(encoding="utf-8")
    for path in sorted(Path(tagkit.station.__file__).parent.glob("*.py"))
    if path.name != "words.py"
)

MADE_UP = {  # keys put together from parts
    *(f"stop.{why}" for why in get_args(situation.Why)),
    *(f"do.{why}" for why in get_args(situation.Why)),
    *(f"question.{key}" for key in get_args(situation.QuestionKey)),
    *(f"notice.{key}" for key in re.findall(r'_notice\([^"\n]*"(\w+)"', SOURCE)),
    *(f"notice.{key}" for key in re.findall(r'key = "(\w+)" if .* else "', SOURCE)),
    *(f"notice.{key}" for key in re.findall(r'key = "\w+" if .* else "(\w+)"', SOURCE)),
    *(f"caution.{key}" for key in re.findall(r'yield "(\w+)"', SOURCE)),
    *(f"caution.{key}" for found in re.findall(r'yield from \(("\w+", "\w+")\)', SOURCE)
      for key in re.findall(r'"(\w+)"', found)),
    *(f"notice.recorded_{key}" for key in ("in_another_truck", "on_charge")),
    *(f"step.{key}" for key in ("brake", "seated", "retainer", "cable", "connected", "works")),
    "choose", "recovered", "question", "undo", "writing", "logged", "undone",
    "do.waiting",  # said at the bay
}  # fmt: skip
WRITTEN = set(re.findall(r'"((?:line|do|press|step|show|stop)\.\w+)"', SOURCE)) | {"fit"}


def test_every_key_has_words_and_every_word_a_use():
    assert set(ENGLISH) == (MADE_UP | WRITTEN)


def test_a_sentence_is_filled_from_its_values_whatever_stands_in_them():
    line = Line("notice.foreign", {"text": "{0.__class__} %s {x}"})
    assert line.text == "Not one of ours: {0.__class__} %s {x}"


def test_another_language_is_another_table():
    spanish = {"notice.foreign": "No es de los nuestros: {text}"}
    assert say("notice.foreign", {"text": "abc"}, spanish) == "No es de los nuestros: abc"


@pytest.mark.parametrize("key", sorted(ENGLISH))
def test_headlines_are_short_enough_to_be_read_from_three_metres(key):
    if key.startswith(("show.", "stop.")) or "." not in key:
        assert len(ENGLISH[key]) <= 26
