"""What an event is asked for by at the exchange."""

from __future__ import annotations

from collections.abc import Iterable

from tagkit.assets.tag import exact_tag
from tagkit.record.envelope import Event, split_id
from tagkit.record.follow import CHAIN_MARK, MARKS, SENT_MARK
from tagkit.record.journal import PERSON_MARK

SITE_WORD = "site "
"""A battery that was sent to another site is elsewhere, at “site QB”."""


def topics_of(event: Event, voids: Event | None, clock_before: int | None) -> set[str]:
    """The topics of an event.

    ``voids``: the event it cancels, if it does; ``clock_before``: the clock of the one before
    it in its chain. Whoever has any event of the chain needs those that the order depends on:
    its first one, those where the clock was set back, and those of other chains that say they
    come after it.
    """
    found = set(asset_topics(event.tags))
    if voids:
        found.update(asset_topics(voids.tags))
    if sent := sent_to(event):
        found.add(f"{SENT_MARK}{sent}")
    if event.sequence == 1 or (clock_before is not None and event.clock <= clock_before):
        found.add(f"{CHAIN_MARK}{event.epoch}")
    for cited in event.after:
        if parts := split_id(cited):
            found.add(f"{CHAIN_MARK}{parts[0]}")
            found.add(f"{CHAIN_MARK}{event.epoch}")
    return found


def asset_topics(tags: Iterable[str]) -> list[str]:
    """The assets among these, leaving out what could be taken for another sort of topic."""
    return [tag for tag in tags if tag and not tag.startswith((*MARKS, PERSON_MARK))]


def sent_to(event: Event) -> str | None:
    """The site that an event says an asset was sent to."""
    place = event.body.get("place")
    if not isinstance(place, dict) or place.get("kind") != "elsewhere":
        return None
    name = place.get("name")
    if not isinstance(name, str) or not name.startswith(SITE_WORD):
        return None
    code = name[len(SITE_WORD) :].strip()
    return code if code.isascii() and code.isalpha() and 2 <= len(code) <= 4 else None


def arrivals(events: Iterable[Event], site: str) -> list[str]:
    """The assets that these events send to ``site``."""
    return [
        tag for event in events if sent_to(event) == site for tag in event.tags if exact_tag(tag)
    ]
