"""Cards shown to the camera: commands, badges, and the card on an asset that is out of service.

Their codes begin with CARD and the site, so that none can be taken for the number of an asset,
and end with a check character as tags do:

    CARD-QM-LOG-8                a command
    CARD-QM-PERSON-SW-D          the badge of the person with the code SW
    CARD-QM-OUT-B00417-H         out of service: battery 00417

An out-of-service card does not carry the asset's own code: left on a table after the repair, it
must not look as if the battery stood there. A badge says who a person is; it proves nothing.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum

from stdnum.iso7064 import mod_37_36

from tagkit.assets.tag import Kind, Tag, check_site_code
from tagkit.errors import WrongInput


class Command(Enum):
    """What a person in gloves tells the station by showing a card."""

    LOG = "LOG"
    UNDO = "UNDO"
    HOLD = "HOLD"
    NEXT = "NEXT"


class CardKind(Enum):
    """What a card is for; the value is how templates call it."""

    COMMAND = "command"
    BADGE = "badge"
    OUT_OF_SERVICE = "out-of-service"

    @property
    def noun(self) -> str:
        """As messages call it."""
        return f"{self.value} card" if self is not CardKind.BADGE else "badge"


@dataclass(frozen=True)
class CommandCard:
    """A command of a site's stations."""

    site: str
    command: Command
    kind = CardKind.COMMAND

    @property
    def says(self) -> str:
        """The command."""
        return self.command.value

    def __str__(self) -> str:
        return _coded(self.site, self.says)


@dataclass(frozen=True)
class Badge:
    """A person, by the code under which the site's record knows him."""

    site: str
    person: str
    kind = CardKind.BADGE

    @property
    def says(self) -> str:
        """PERSON and the code."""
        return f"PERSON-{self.person}"

    def __str__(self) -> str:
        return _coded(self.site, self.says)


@dataclass(frozen=True)
class OutOfService:
    """The card on a held asset."""

    tag: Tag
    kind = CardKind.OUT_OF_SERVICE

    @property
    def site(self) -> str:
        """The site that gave the asset its number."""
        return self.tag.site

    @property
    def says(self) -> str:
        """OUT, the kind letter and the serial."""
        return f"OUT-{self.tag.kind.value}{self.tag.serial:05d}"

    def __str__(self) -> str:
        return _coded(self.site, self.says)


Card = CommandCard | Badge | OutOfService


def _coded(site: str, says: str) -> str:
    """The text of a card's symbol; ``says`` stands between site and check character."""
    text = f"CARD-{site}-{says}"
    return f"{text}-{_check(text)}"


PERSON = re.compile(r"[A-Z0-9._-]{1,16}", re.ASCII)
_CARD = re.compile(r"CARD-([A-Z]{2,4})-([A-Z0-9._-]{3,23})-([0-9A-Z])", re.ASCII)
_OUT = re.compile(r"OUT-([BTCLR])(\d{5}|[1-9]\d{5,6})", re.ASCII)
_LONGEST = 40


def badge_for(site: str, person: str) -> Badge:
    """The badge of a person; WrongInput for what is no person's code."""
    code = person.strip().upper()
    if not PERSON.fullmatch(code):
        raise WrongInput(
            f"“{person}” is not a person's code", "Use up to 16 letters, digits, . _ -"
        )
    return Badge(check_site_code(site), code)


def card_in(payload: str | bytes) -> Card | None:
    """The card that a symbol's content names, or None: "not one of ours". Never raises."""
    if isinstance(payload, bytes):
        try:
            payload = payload.decode("ascii")
        except UnicodeDecodeError:
            return None
    if len(payload) > _LONGEST or not payload.isascii():
        return None
    match = _CARD.fullmatch(payload.upper())
    if match is None or _check(match[0][:-2]) != match[3]:
        return None
    return _card(match[1], match[2])


def _card(site: str, says: str) -> Card | None:
    if says in Command.__members__:
        return CommandCard(site, Command[says])
    if says.startswith("PERSON-") and PERSON.fullmatch(says[7:]):
        return Badge(site, says[7:])
    if match := _OUT.fullmatch(says):
        tag = Tag(Kind(match[1]), site, int(match[2]))
        return OutOfService(tag) if tag.serial > 0 else None
    return None


def _check(text: str) -> str:
    """By ISO/IEC 7064 MOD 37,36 over the letters and digits, as on tags."""
    return str(mod_37_36.calc_check_digit(re.sub(r"[^A-Z0-9]", "", text)))
