"""Finding an asset by what a person typed or a label says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from tagkit.assets.tag import Kind, NoNumber, Tag, parse_tag
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

    Such words are never taken for the number itself without saying so: they have no check
    character, and two assets may share them.
    """
    for state in _called(record, words):
        if state.retired_at is None:
            raise WrongInput(
                f"“{words}” is what people call {state.tag}; it is not the number on its label",
                f"If that is the one you mean, give {state.tag}",
            ) from cause


@dataclass(frozen=True)
class Meant:
    """The number that somebody means, and the name they gave instead of it, if they did."""

    tag: Tag
    name: str | None = None


def meant(record: Record, words: str, *kinds: Kind) -> Meant:
    """The one asset that a number, or else a fleet number, a bay or a maker's serial, stands for.

    A name is taken only when exactly one asset in use (of ``kinds``) bears it; whoever asks says
    which number it was taken for. Raises WrongInput for words that are neither, and for a name
    that several bear, with their numbers.
    """
    try:
        return Meant(parse_tag(words))
    except WrongInput as error:
        bearers = _called(record, words)
        right = [one for one in bearers if not kinds or Kind(one.kind) in kinds]
        right = [one for one in right if one.retired_at is None] or right
        if not right:
            if bearers:
                refuse_known_as(record, words, error)
            if isinstance(error, NoNumber):
                words = words.strip()
                raise WrongInput(
                    f"nothing here is called “{words}”, by number, fleet number, bay or serial",
                    "Type the number on its label, like B-QM-00417-D, or its name as it stands in "
                    "the list",
                ) from error
            raise
        if len(right) == 1:
            return Meant(parse_tag(right[0].tag), words.strip())
        told = ", ".join(f"{one.tag} ({Kind(one.kind).noun})" for one in right)
        raise WrongInput(
            f"“{words.strip()}” may be any of {told}",
            "Give the number on the label of the one that you mean",
        ) from error


def _called(record: Record, words: str) -> list[AssetState]:
    return [one for one in record.called(words) if one.registered_at is not None]


def others_at(record: Record, place: str, battery: str) -> tuple[str, ...]:
    """The other batteries that the record has in this truck or at this charger, by number."""
    return tuple(held.tag for held in record.held_by(place) if held.tag != battery)


def plate(state: AssetState) -> AnyPlate:
    """The nameplate of an asset as its typed form."""
    # A look-up needs no nameplate, and their classes take time to load.
    from tagkit.assets.kinds import plate_of

    return plate_of(Kind(state.kind), state.nameplate)


def is_married(state: AssetState) -> bool:
    """Whether somebody has matched label and asset, or the sheet was copied from the cases; and
    has settled what differed."""
    return (state.married_at is not None or state.as_stamped) and not state.unsettled


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
