"""Nameplates and labels that the tests of the label room share."""

from __future__ import annotations

from typing import Any

from tagkit.assets.battery import Battery
from tagkit.assets.card import Badge, CardKind, Command, CommandCard
from tagkit.assets.charger import Charger
from tagkit.assets.fields import fields_of, read_fact
from tagkit.assets.lifting import Lifting
from tagkit.assets.room import Room
from tagkit.assets.stated import Source
from tagkit.assets.tag import Kind, Tag, serials_after, tag_for
from tagkit.assets.truck import Truck
from tagkit.labels.cards import badge_content, command_content, out_of_service_content
from tagkit.labels.content import LabelContent, content_for
from tagkit.labels.layout import Layout, lay_out
from tagkit.labels.template_model import Template

LINK = "HTTPS://LABELS.EXAMPLE/A/"


def plate(cls: Any, source: Source = Source.STAMPED, **facts: str) -> Any:
    """A nameplate from what is written on it."""
    specs = fields_of(cls)
    return cls(**{name: read_fact(specs[name], text, source) for name, text in facts.items()})


def battery(source: Source = Source.STAMPED, **changed: str) -> Battery:
    facts = {
        "voltage": "48 V", "weight": "1111 kg", "capacity": "775 Ah", "capacity_rate": "5",
        "chemistry": "vented", "maker_serial": "889-23-0417", "connector": "320 A grey",
    }  # fmt: skip
    return plate(Battery, source, **{**facts, **changed})


# The ordinary, the unknown and the longest that people write.
PLATES: dict[Kind, list[Any]] = {
    Kind.BATTERY: [
        battery(),
        Battery(),
        battery(Source.CATALOGUE, voltage="80 V", weight="2,450.5 lb", capacity="1240 Ah",
                chemistry="tppl", ballast="1 t"),
        plate(Battery, Source.CATALOGUE, capacity="1240.5 Ah", weight="5999.75 kg",
              maker_serial="W" * 120, connector="W" * 120),
        battery(chemistry="lithium", connector="grey, keyed " * 9, maker_serial="列車 ☢ 🔋 Ωß"),
    ],
    Kind.TRUCK: [
        plate(Truck, Source.NAMEPLATE, voltage="48 V", weight_min="1000 kg",
              weight_max="1150 kg", fleet_number="R-07"),
        Truck(),
        plate(Truck, Source.CATALOGUE, voltage="80 V", weight_min="4,409.25 lb",
              weight_max="5999.75 kg", fleet_number="Counterbalance " * 7),
    ],
    Kind.CHARGER: [
        plate(Charger, Source.NAMEPLATE, voltages="24 / 48 V", capacity_min="400 Ah",
              capacity_max="840 Ah", capacity_rate="5", bay="Row A, 3"),
        Charger(),
        plate(Charger, Source.CATALOGUE, voltages="24 / 36 / 48 / 72 / 80 V",
              capacity_min="400.5 Ah", capacity_max="1240.5 Ah", bay="Bay " * 25),
    ],
    Kind.LIFTING: [
        plate(Lifting, Source.NAMEPLATE, gear="beam", rated_load="2000 kg", own_weight="85 kg"),
        Lifting(),
    ],
    Kind.ROOM: [
        plate(Room, Source.NAMEPLATE, equipment="eyewash", check="flush for one minute",
              check_every="7"),
        Room(),
        plate(Room, Source.CATALOGUE, equipment="extinguisher", check="W" * 120,
              check_every="3650"),
    ],
}  # fmt: skip


def card_contents(kind: CardKind, language: str) -> list[LabelContent]:
    """Cards as usual and at their longest."""
    depot = "Quillmoor Cold Store"
    if kind is CardKind.COMMAND:
        return [
            command_content(CommandCard(site, command), language, depot)
            for site in ("QM", "ABCD")
            for command in Command
        ]
    if kind is CardKind.BADGE:
        return [
            badge_content(Badge("QM", "SW"), "S.W.", "attendant", "2032-05-31", language, depot),
            badge_content(Badge("ABCD", "W" * 16), "", "supervisor", None, language, "W" * 80),
            badge_content(Badge("QM", "A_B.C-D"), "W" * 16, "technician", None, language, ""),
        ]
    battery, truck = tag_for(Kind.BATTERY, "QM", 417), Tag(Kind.TRUCK, "ABCD", 9_999_998)
    since = "Mon 2031-05-05 06:12"
    reasons = ("leak", "Case cracked at the lower edge, acid in the tray", "W" * 300,
               "reversed cell " * 100)  # fmt: skip
    return [
        out_of_service_content(tag, reason, since, by, safety, language, depot)
        for reason in reasons
        for tag, by, safety in ((battery, "SW", True), (truck, "W" * 16, False))
    ]


def sample_layouts(template: Template, language: str, link: bool = False) -> list[Layout]:
    """A label for every sample of every kind the template is for."""
    layouts = []
    for kind in template.kinds:
        if isinstance(kind, CardKind):
            layouts += [lay_out(content, template) for content in card_contents(kind, language)]
            continue
        serials = serials_after(kind, "QM", 416)
        for facts in PLATES[kind]:
            tag = tag_for(kind, "QM", next(serials))
            payload = f"{LINK if link else ''}{tag}"
            content = content_for(
                kind, tag, facts, payload, language, "Quillmoor Cold Store",
                revision=len(layouts) + 1, unloading=len(layouts) + 1,
            )  # fmt: skip
            layouts.append(lay_out(content, template))
    return layouts


def delivery(template: Template, count: int, language: str = "en") -> list[Layout]:
    """Labels of a delivery of batteries."""
    tags: list[Tag] = []
    for serial in serials_after(Kind.BATTERY, "QM", 0):
        if len(tags) == count:
            break
        tags.append(tag_for(Kind.BATTERY, "QM", serial))
    return [
        lay_out(
            content_for(
                Kind.BATTERY, tag,
                battery(Source.CATALOGUE, weight=f"{1000 + number} kg",
                        maker_serial=f"889-23-{number:04d}"),
                str(tag), language, "Quillmoor Cold Store", unloading=number + 1,
            ),
            template,
        )
        for number, tag in enumerate(tags)
    ]  # fmt: skip
