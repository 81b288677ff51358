"""Cards shown to the camera: never taken for an asset, and nothing foreign for a card."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.assets.card import Badge, Command, CommandCard, OutOfService, badge_for, card_in
from tagkit.assets.payload import tag_in
from tagkit.assets.tag import Kind, Tag, tag_for
from tagkit.errors import WrongInput

BATTERY = tag_for(Kind.BATTERY, "QM", 417)
SITES = st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ", min_size=2, max_size=4)
CARDS = st.one_of(
    st.builds(CommandCard, SITES, st.sampled_from(Command)),
    st.builds(Badge, SITES, st.text("ABCXYZ0189._-", min_size=1, max_size=16)),
    st.builds(
        OutOfService, st.builds(Tag, st.sampled_from(Kind), SITES, st.integers(1, 9_999_999))
    ),
)


def test_what_the_cards_say() -> None:
    assert str(CommandCard("QM", Command.LOG)) == "CARD-QM-LOG-W"
    assert str(badge_for("qm", " sw ")) == "CARD-QM-PERSON-SW-6"
    assert str(OutOfService(BATTERY)) == "CARD-QM-OUT-B00417-M"


@given(CARDS)
def test_a_card_is_read_as_itself_and_never_as_an_asset(card) -> None:
    assert card_in(str(card)) == card
    assert card_in(str(card).lower().encode()) == card
    assert tag_in(str(card)) is None


@given(CARDS, st.integers(0, 39), st.sampled_from("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"))
def test_one_wrong_character_makes_it_no_card_of_ours(card, place, wrong) -> None:
    text = str(card)
    place %= len(text)
    changed = text[:place] + wrong + text[place + 1 :]
    if text[place].isalnum() and changed != text:
        assert card_in(changed) is None


@pytest.mark.parametrize(
    "text",
    ["", "CARD", str(BATTERY), "CARD-QM-LOG", "CARD-QM-OUT-B00000-K", "CARD-QM-GO-1", "CARD-Q-LOG-1",
     "CARD-QM-PERSON--0", "C" * 41, "Ä", b"\xff", f"HTTPS://LABELS.EXAMPLE/A/{BATTERY}"],
)  # fmt: skip
def test_anything_else_is_not_one_of_ours(text) -> None:
    assert card_in(text) is None


@given(st.text())
def test_no_text_is_an_error(text) -> None:
    card_in(text)


def test_a_badge_needs_a_persons_code() -> None:
    with pytest.raises(WrongInput, match="not a person's code"):
        badge_for("QM", "S W")
