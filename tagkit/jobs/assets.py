"""Finding an asset by what a person typed or a label says."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from tagkit.assets.tag import Kind, Tag, parse_tag
from tagkit.errors import NotFound, WrongInput

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
    tag = number if isinstance(number, Tag) else parse_tag(number)
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
