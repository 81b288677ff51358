"""What a text may hold that is kept and shown."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.assets.legible import LONGEST, all_legible, legible
from tagkit.errors import WrongInput


@pytest.mark.parametrize(
    ("written", "kept"),
    [
        ("leaks at cell 7", "leaks at cell 7"),
        ("Säure läuft aus\n\tam Rand", "Säure läuft aus\n\tam Rand"),
        ("a\x00b\x1b[2Jc\x07", "ab[2Jc"),
        ("one\r\ntwo\u2028three\x0bfour", "one\ntwo\nthree\nfour"),
        ("\u202egnirts\u2066x\u2069", "gnirtsx"),
        ("B\u200b-\ufeffQM\xad", "B-QM"),
        ("half \ud800 a letter", "half  a letter"),
        ("خب\u200cم 👩\u200d🔧", "خب\u200cم 👩\u200d🔧"),
    ],
)
def test_what_cannot_be_seen_goes_and_the_rest_stays(written: str, kept: str) -> None:
    assert legible(written) == kept


@given(st.text(st.characters(codec=None)))
def test_any_text_can_be_written_afterwards_and_nothing_changes_twice(text: str) -> None:
    once = legible(text)
    once.encode("utf-8")
    assert legible(once) == once
    assert [letter for letter in once if letter < " " and letter not in "\n\t"] == []


def test_texts_within_lists_and_objects_have_an_end() -> None:
    assert all_legible({"a": ["x\x00", {"b": (1, "y\u202e")}]}) == {"a": ["x", {"b": [1, "y"]}]}
    with pytest.raises(WrongInput, match="too long"):
        all_legible({"a": [{"b": "x" * (LONGEST + 1)}]})
