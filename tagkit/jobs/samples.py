"""Labels of assets that do not exist, to see what a template looks like.

The number has the serial 0, which is never issued, and the symbol says SAMPLE, so that neither
a person nor a camera can take a sample for a label.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from tagkit.assets.card import Badge, CardKind, Command, CommandCard
from tagkit.assets.fields import fields_of, read_fact
from tagkit.assets.kinds import PLATES
from tagkit.assets.stated import Source
from tagkit.assets.tag import Kind, Tag
from tagkit.labels.cards import badge_content, command_content, out_of_service_content
from tagkit.labels.content import LabelContent, content_for

SITE_NAME = "Quillmoor Cold Store"
_SITE = "QM"
_LINK = "HTTPS://LABELS.EXAMPLE/SAMPLE/"

_FACTS: dict[Kind, dict[str, str]] = {
    Kind.BATTERY: {
        "voltage": "48 V", "weight": "1111 kg", "capacity": "775 Ah", "capacity_rate": "5",
        "chemistry": "vented", "maker_serial": "SAMPLE-0000", "connector": "320 A grey",
    },
    Kind.TRUCK: {
        "voltage": "48 V", "weight_min": "1000 kg", "weight_max": "1150 kg", "fleet_number": "R-00",
    },
    Kind.CHARGER: {
        "voltages": "24 / 48 V", "capacity_min": "400 Ah", "capacity_max": "840 Ah",
        "capacity_rate": "5", "bay": "Row A, 0",
    },
    Kind.LIFTING: {"gear": "beam", "rated_load": "2000 kg", "own_weight": "85 kg"},
    Kind.ROOM: {"equipment": "eyewash", "check": "flush for one minute", "check_every": "7"},
}  # fmt: skip


def sample(kind: Kind | CardKind, language: str, link: bool = False) -> list[LabelContent]:
    """What samples of this kind say; several for commands. ``link``: a longer code."""
    if isinstance(kind, Kind):
        return [_asset(kind, language, link)]
    if kind is CardKind.COMMAND:
        cards = [command_content(CommandCard(_SITE, each), language, SITE_NAME) for each in Command]
    elif kind is CardKind.BADGE:
        badge = Badge(_SITE, "SAMPLE")
        cards = [badge_content(badge, "S.A.", "attendant", "2000-01-01", language, SITE_NAME)]
    else:
        cards = [
            out_of_service_content(
                Tag(Kind.BATTERY, _SITE, 0), "Case cracked at the lower edge, acid in the tray",
                "Mon 2000-01-03 06:12", "S.A.", True, language, SITE_NAME,
            )
        ]  # fmt: skip
    return [replace(card, payload=_sample_text(card.payload)) for card in cards]


def _asset(kind: Kind, language: str, link: bool) -> LabelContent:
    specs = fields_of(PLATES[kind])
    facts: dict[str, Any] = {
        name: read_fact(specs[name], text, Source.NAMEPLATE) for name, text in _FACTS[kind].items()
    }
    tag = Tag(kind, _SITE, 0)
    payload = f"{_LINK if link else ''}{_sample_text(str(tag))}"
    return content_for(kind, tag, PLATES[kind](**facts), payload, language, SITE_NAME, unloading=0)


def _sample_text(code: str) -> str:
    """As long as the code it stands for, so that the symbol looks the same."""
    return "SAMPLE".ljust(len(code), "-")
