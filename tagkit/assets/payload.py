"""What the symbol on a label says: the bare tag, a link that ends in it, or a GS1 Digital Link.

All forms are upper case, so that QR's alphanumeric mode applies (ISO/IEC 18004, 7.4.4). The GS1
form carries the tag as the reference part of a Global Individual Asset Identifier (GS1 General
Specifications, application identifier 8004; GS1 Digital Link URI syntax).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum

from tagkit.assets.tag import Tag, exact_tag
from tagkit.errors import WrongInput


class PayloadForm(Enum):
    """How a site writes the tag into its symbols."""

    BARE = "bare"
    LINK = "link"
    DIGITAL_LINK = "digital-link"


_HOST = r"[A-Z0-9](?:[A-Z0-9.-]{0,251}[A-Z0-9])?(?::[0-9]{1,5})?"
_LINK = re.compile(rf"HTTPS?://{_HOST}/A/(?P<tag>[A-Z0-9-]+)", re.ASCII)
_DIGITAL_LINK = re.compile(
    rf"HTTPS?://{_HOST}/(?:[A-Z0-9._~-]+/)*8004/(?P<prefix>[0-9]{{4,12}})(?P<tag>[A-Z][A-Z0-9-]+)",
    re.ASCII,
)
_LONGEST = 400
_GIAI_LENGTH = 30


@dataclass(frozen=True)
class PayloadStyle:
    """The site's choice: the form and, for links, the host; for GS1, the company prefix too."""

    form: PayloadForm = PayloadForm.BARE
    host: str = ""
    gs1_prefix: str = ""

    def __post_init__(self) -> None:
        if self.form is PayloadForm.BARE:
            return
        if not re.fullmatch(_HOST, self.host.upper(), re.ASCII):
            raise WrongInput(
                f"“{self.host}” is not a host name for the links on labels",
                "Write the name alone, like labels.example",
            )
        if self.form is PayloadForm.DIGITAL_LINK and not re.fullmatch(
            r"[0-9]{4,12}", self.gs1_prefix
        ):
            raise WrongInput(
                f"“{self.gs1_prefix}” is not a GS1 company prefix", "Write its 4 to 12 digits"
            )


def payload_for(tag: Tag, style: PayloadStyle) -> str:
    """The text to put into the symbol of ``tag``."""
    if style.form is PayloadForm.BARE:
        return str(tag)
    host = style.host.upper()
    if style.form is PayloadForm.LINK:
        return f"HTTPS://{host}/A/{tag}"
    giai = f"{style.gs1_prefix}{tag}"
    if len(giai) > _GIAI_LENGTH:
        raise WrongInput(
            f"the asset identifier {giai} is longer than the {_GIAI_LENGTH} characters GS1 allows",
            "Use the link form",
        )
    return f"HTTPS://{host}/8004/{giai}"


def tag_in(payload: str | bytes) -> Tag | None:
    """The tag that a symbol's content names, or None: "not one of ours". Never raises."""
    if isinstance(payload, bytes):
        try:
            payload = payload.decode("ascii")
        except UnicodeDecodeError:
            return None
    if len(payload) > _LONGEST or not payload.isascii():
        return None
    text = payload.upper()
    match = _LINK.fullmatch(text) or _DIGITAL_LINK.fullmatch(text)
    return exact_tag(match["tag"] if match else text)
