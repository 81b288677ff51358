"""What cards say: commands for the station, badges, and an asset that is out of service."""

from __future__ import annotations

from tagkit.assets.card import Badge, Card, CommandCard, OutOfService
from tagkit.assets.tag import Kind, Tag
from tagkit.labels.content import Figure, LabelContent
from tagkit.labels.fonts import face
from tagkit.labels.words import cautions, kind_word, languages_of, word

_SIGNS: dict[Kind, tuple[str, ...]] = {
    Kind.BATTERY: ("W023", "W021", "P003", "M004", "M009"),
    Kind.TRUCK: ("W023", "W021", "P003"),
    Kind.CHARGER: ("W026", "W021", "P003"),
}


def command_content(card: CommandCard, language: str, site_name: str) -> LabelContent:
    """A card with one command in large letters and what showing it does."""
    name = card.command.value
    return _content(
        card, language, site_name,
        title=word("command card", language),
        headline=_each(name, language),
        caution=name,
    )  # fmt: skip


def badge_content(
    card: Badge, initials: str, role: str, until: str | None, language: str, site_name: str
) -> LabelContent:
    """A person's badge: initials and code, role, and until when he is authorised (a date)."""
    last = until or word("no end", language)
    return _content(
        card, language, site_name,
        title=word("badge", language),
        headline=(face("bold").printable(initials.strip()) or card.person,),
        caution="badge",
        figures=(
            _said("role", word(role, language), language),
            _said("person", card.person, language),
            _said("until", last, language),
        ),
    )  # fmt: skip


def out_of_service_content(
    tag: Tag, reason: str, since: str, by: str, safety: bool, language: str, site_name: str
) -> LabelContent:
    """The card on a held asset: since when, by whom, why, and who may lift the hold."""
    return _content(
        OutOfService(tag), language, site_name,
        title=kind_word(tag.kind, language),
        headline=_each("out of service", language),
        caution="out of service",
        signs=_SIGNS.get(tag.kind, ()),
        figures=(
            _said("reason", reason, language),
            _said("since", since, language),
            _said("held by", by, language),
            _said("released by", word("inspection" if safety else "supervisor", language), language),
        ),
    )  # fmt: skip


def _content(
    card: Card,
    language: str,
    site_name: str,
    *,
    title: str,
    headline: tuple[str, ...],
    caution: str,
    signs: tuple[str, ...] = (),
    figures: tuple[Figure, ...] = (),
) -> LabelContent:
    return LabelContent(
        kind=card.kind, tag=card, payload=str(card), language=language, title=title,
        figures=figures, signs=signs, cautions=cautions(caution, language),
        site_name=face("regular").printable(site_name.strip()), revision=1, revision_words="",
        sorting="", headline=headline,
    )  # fmt: skip


def _each(name: str, language: str) -> tuple[str, ...]:
    """A word in each language, one below the other."""
    return tuple(dict.fromkeys(word(name, part) for part in languages_of(language)))


def _said(name: str, text: str, language: str) -> Figure:
    text = face("bold").printable(text.strip())
    return Figure(name, word(name, language), (text,), text, "known")
