"""Finding an asset by what a person typed or a label says."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from tagkit.assets.tag import Kind, Tag, parse_tag
from tagkit.errors import NotFound, WrongInput
from tagkit.record.record import Record

if TYPE_CHECKING:
    from tagkit.assets.kinds import AnyPlate
    from tagkit.record.state import AssetState


class Looks(Protocol):
    """Anything that knows the folded state: a record, or the transaction that is writing."""

    def state(self, tag: Tag | str) -> AssetState | None: ...


def asset(records: Looks, number: str | Tag, *kinds: Kind) -> AssetState:
    """The asset with this number.

    Raises WrongInput for a mistyped number or one of another kind than ``kinds``, NotFound when
    no such asset is in the record.
    """
    tag = tag_of(records, number)
    if kinds and tag.kind not in kinds:
        wanted = " or ".join(kind.noun for kind in kinds)
        raise WrongInput(f"{tag} is a {tag.kind.noun} number", f"Give the number of a {wanted}")
    state = records.state(tag)
    if state is None or state.registered_at is None:
        raise NotFound(
            f"{tag} is not in this site's record",
            f"Check the number, or take the {tag.kind.noun} in with “tagkit receive”",
        )
    return state


def tag_of(records: Looks, number: str | Tag) -> Tag:
    """The number that was typed; WrongInput says which one is meant where the record can tell."""
    try:
        return number if isinstance(number, Tag) else parse_tag(number)
    except WrongInput as error:
        if isinstance(records, Record):
            refuse_known_as(records, str(number), error)
        raise


def refuse_known_as(record: Record, words: str, cause: Exception | None = None) -> None:
    """Raise WrongInput, naming the number, when ``words`` are a fleet number, bay or serial.

    Such words are never taken for the number itself: they have no check character, and two
    assets may share them.
    """
    plain = words.strip().casefold()
    for state in record.states() if plain else ():
        facts = (state.nameplate.get(name) for name in ("fleet_number", "bay", "maker_serial"))
        if state.retired_at or plain not in {str(one["value"]).casefold() for one in facts if one}:
            continue
        raise WrongInput(
            f"“{words}” is what people call {state.tag}; it is not the number on its label",
            f"If that is the one you mean, give {state.tag}",
        ) from cause


def plate(state: AssetState) -> AnyPlate:
    """The nameplate of an asset as its typed form."""
    # A look-up needs no nameplate, and their classes take time to load.
    from tagkit.assets.kinds import plate_of

    return plate_of(Kind(state.kind), state.nameplate)


def is_married(state: AssetState) -> bool:
    """Whether somebody has matched label and asset, or the sheet was copied from the cases."""
    return state.married_at is not None or state.as_stamped


def kind_named(word: str) -> Kind:
    """The kind that a person means by "battery", "trucks", "B" …"""
    plain = word.strip().lower()
    for kind in Kind:
        nouns = (kind.noun, kind.name.lower(), f"{kind.noun}s", "batteries")
        if plain == kind.value.lower() or plain in nouns[: 4 if kind is Kind.BATTERY else 3]:
            return kind
    raise WrongInput(
        f"“{word}” is not a kind of asset",
        "One of: battery, truck, charger, lifting, room",
        "--kind",
    )
