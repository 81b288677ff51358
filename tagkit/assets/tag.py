"""The tag: the number on every label, like B-QM-00417-D.

Kind letter, site code, serial and a check character by ISO/IEC 7064 MOD 37,36 over the letters
and digits before it, hyphens left out. Serials whose check character would be O or I are never
issued, so that nobody has to tell O from 0 or I from 1. On screens a tag is called the
"battery number", "truck number" and so on.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from stdnum.iso7064 import mod_37_36

from tagkit.errors import WrongInput


class NoNumber(WrongInput):
    """What was typed is not built like a number on a label at all."""


class Kind(Enum):
    """What carries a label; the value is the tag's first letter."""

    BATTERY = "B"
    TRUCK = "T"
    CHARGER = "C"
    LIFTING = "L"
    ROOM = "R"

    @property
    def noun(self) -> str:
        """The word of the trade: "battery", "lifting gear" …"""
        return _NOUNS[self]


_NOUNS = {
    Kind.BATTERY: "battery",
    Kind.TRUCK: "truck",
    Kind.CHARGER: "charger",
    Kind.LIFTING: "lifting gear",
    Kind.ROOM: "room equipment",
}

_SITE = re.compile(r"[A-Z]{2,4}")
_CANONICAL = re.compile(r"([BTCLR])-([A-Z]{2,4})-(\d{5}|[1-9]\d{5,6})-([0-9A-HJ-NP-Z])", re.ASCII)
_NEVER_ISSUED = "OI"
_SERIAL_LENGTHS = (5, 6, 7)
LARGEST_SERIAL = 9_999_999


@dataclass(frozen=True)
class Tag:
    """One asset's number. Build it with :func:`tag_for` or :func:`parse_tag`."""

    kind: Kind
    site: str
    serial: int

    def __lt__(self, other: object) -> bool:
        if not isinstance(other, Tag):
            return NotImplemented
        return str(self) < str(other)

    @property
    def check(self) -> str:
        """The check character."""
        return str(mod_37_36.calc_check_digit(f"{self.kind.value}{self.site}{self.serial:05d}"))

    def __str__(self) -> str:
        return f"{self.kind.value}-{self.site}-{self.serial:05d}-{self.check}"


def check_site_code(code: str) -> str:
    """The site code in capitals, or WrongInput: 2 to 4 letters A to Z."""
    site = code.strip().upper()
    if not _SITE.fullmatch(site):
        raise WrongInput(f"“{code}” is not a site code", "Use 2 to 4 letters from A to Z")
    return site


def can_issue(kind: Kind, site: str, serial: int) -> bool:
    """Whether this serial may be printed: its check character is neither O nor I."""
    return 0 < serial <= LARGEST_SERIAL and Tag(kind, site, serial).check not in _NEVER_ISSUED


def tag_for(kind: Kind, site: str, serial: int) -> Tag:
    """The tag with this serial; WrongInput for serials that are never issued."""
    site = check_site_code(site)
    if not can_issue(kind, site, serial):
        raise WrongInput(f"serial {serial} is never issued at {site}", "Take the next one")
    return Tag(kind, site, serial)


def serials_after(kind: Kind, site: str, last: int) -> Iterator[int]:
    """The serials that may be issued after ``last``, in order."""
    for serial in range(last + 1, LARGEST_SERIAL + 1):
        if can_issue(kind, site, serial):
            yield serial


def exact_tag(text: str) -> Tag | None:
    """The tag written exactly as printed (any case), or None. For codes read from labels."""
    match = _CANONICAL.fullmatch(text.upper())
    if not match:
        return None
    tag = Tag(Kind(match[1]), match[2], int(match[3]))
    return tag if tag.serial > 0 and match[4] == tag.check else None


def parse_tag(text: str) -> Tag:
    """The tag that a person typed.

    Case, spaces, missing hyphens, O for 0 and I for 1 (and the other way round) are forgiven;
    a check character that does not match is not. Raises WrongInput, saying which it is.
    """
    parts = [part for part in re.split(r"[^A-Za-z0-9]+", text.strip().upper()) if part]
    joined = "".join(parts)
    shown = text.strip()
    if not joined or not joined.isascii():
        raise NoNumber(f"“{shown}” is not a number on a label", _FORM)
    if joined[0] not in "BTCLR":
        raise NoNumber(
            f"“{shown}” does not begin with a kind letter (B battery, T truck, C charger, "
            "L lifting gear, R room equipment)",
            _FORM,
        )
    if len(joined) < 4:
        raise NoNumber(f"“{shown}” is not a whole number from a label", _FORM)
    candidates = _by_parts(parts) if len(parts) == 4 else _by_lengths(joined)
    if not candidates:
        raise NoNumber(f"“{shown}” is not a whole number from a label", _FORM)
    right = [tag for tag, check in candidates if tag.check == check and tag.serial > 0]
    if len(right) == 1:
        return right[0]
    if right:
        choices = " or ".join(str(tag) for tag in right)
        raise WrongInput(f"“{shown}” can be read as {choices}", "Type it with its hyphens")
    raise WrongInput(
        f"the check character of “{shown}” does not match, so a character is mistyped",
        "Read the number on the label again, character by character",
    )


_FORM = "Type it as on the label: kind, site, serial and check character, like B-QM-00417-D"
_TO_DIGITS = str.maketrans("OIL", "011")
_TO_LETTERS = str.maketrans("01", "OI")


def _candidate(kind: str, site: str, serial: str, check: str) -> tuple[Tag, str] | None:
    site, digits = site.translate(_TO_LETTERS), serial.translate(_TO_DIGITS)
    if not _SITE.fullmatch(site) or not re.fullmatch(r"\d{1,7}", digits) or len(check) != 1:
        return None
    check = check.replace("O", "0").replace("I", "1")
    return Tag(Kind(kind), site, int(digits)), check


def _by_parts(parts: list[str]) -> list[tuple[Tag, str]]:
    kind, site, serial, check = parts
    found = _candidate(kind, site, serial, check) if len(kind) == 1 else None
    return [found] if found else []


def _by_lengths(joined: str) -> list[tuple[Tag, str]]:
    """Every way to split a run of characters into site and serial."""
    found = []
    for length in _SERIAL_LENGTHS:
        site, serial = joined[1 : -1 - length], joined[-1 - length : -1]
        if length > 5 and serial[:1] in "0O":
            continue
        candidate = _candidate(joined[0], site, serial, joined[-1])
        if candidate:
            found.append(candidate)
    return found
