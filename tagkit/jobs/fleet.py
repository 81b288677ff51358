"""The fleet in pages: looking for assets by anything that people call them."""

from __future__ import annotations

from dataclasses import dataclass

from tagkit.assets.tag import Kind, Tag, parse_tag
from tagkit.errors import WrongInput
from tagkit.jobs.care_facts import time_text
from tagkit.jobs.site import Site
from tagkit.jobs.whereabouts import Whereabouts, whereabouts_of
from tagkit.record.search import STATES, Wanted
from tagkit.record.state import AssetState

PAGE = 50


@dataclass(frozen=True)
class FleetPage:
    """Some of the fleet, by number: ``number`` of ``pages`` pages, ``total`` assets in all."""

    rows: tuple[Whereabouts, ...]
    total: int
    number: int
    pages: int


def fleet_page(
    site: Site, words: str = "", kind: Kind | None = None, number: int = 1, state: str = ""
) -> FleetPage:
    """The assets whose number, serial, fleet number or bay has all the words in it.

    ``state`` is one of STATES; it is known of what was judged (tagkit.jobs.judging).
    """
    if state and state not in STATES:
        raise WrongInput(f"“{state}” is not a state", f"One of: {', '.join(STATES)}", "state")
    now = time_text(site.now())
    wanted = Wanted(_plain(words), kind.value if kind else "", state, now)
    number = max(1, number)
    hits = site.record.search(wanted, (number - 1) * PAGE, PAGE)
    rows = tuple(whereabouts_of(site, one) for one in hits.states)
    return FleetPage(rows, hits.total, number, max(1, -(-hits.total // PAGE)))


def one_meant(site: Site, words: str) -> str | None:
    """The number of the one asset that these words mean, or None when none or several do."""
    found = _by_number(site, words) or site.record.called(words)
    registered = [state for state in found if state.registered_at is not None]
    in_use = [state for state in registered if state.retired_at is None] or registered
    return in_use[0].tag if len(in_use) == 1 else None


def _by_number(site: Site, words: str) -> list[AssetState]:
    try:
        state = site.record.state(parse_tag(words))
    except WrongInput:
        return []
    return [state] if state else []


def _plain(words: str) -> str:
    """A number in any writing is looked for as it is written on labels."""
    try:
        tag: Tag = parse_tag(words)
    except WrongInput:
        return words
    return str(tag)
