"""Exchanging with the company's other sites: once, or again and again in the background."""

from __future__ import annotations

import logging
import os
import random
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Event as Flag
from typing import TYPE_CHECKING, Any

from tagkit.assets.tag import Tag, check_site_code, parse_tag
from tagkit.errors import NotFound, TagkitError, WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.site import Site, open_site

if TYPE_CHECKING:
    from tagkit.exchange.address import Connection
    from tagkit.exchange.layout import GivenSite
    from tagkit.exchange.round import Exchanged
    from tagkit.jobs.whereabouts import Whereabouts

VARIABLE = "TAGKIT_EXCHANGE"
LONGEST_WAIT = 900.0
"""Seconds between tries while the exchange can't be reached."""
LOOK_UP_WITHIN = 3
"""Seconds that a look-up waits for the exchange."""

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class ExchangeReport:
    """What one exchange did. ``through`` is the address without secrets."""

    through: str
    sent: int
    fetched: int
    already_here: int
    followed: tuple[str, ...]
    refused: tuple[str, ...]
    refusals: int
    notices: tuple[str, ...]
    nothing_new: bool

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit exchange --json`` prints it."""
        return {
            "through": self.through,
            "sent": self.sent,
            "fetched": self.fetched,
            "already_here": self.already_here,
            "followed": list(self.followed),
            "refused": list(self.refused),
            "refusals": self.refusals,
            "notices": list(self.notices),
            "nothing_new": self.nothing_new,
        }


def address_for(site: Site, through: str | None = None) -> str | None:
    """The exchange's address: as given, from TAGKIT_EXCHANGE, or from site.toml."""
    return through or os.environ.get(VARIABLE) or site.settings.exchange.through or None


def exchange_now(
    site: Site,
    through: str | None = None,
    *,
    follow: Iterable[str] = (),
    again: bool = False,
    step: Progress = lambda *_: None,
) -> ExchangeReport:
    """Sends what is new here and fetches what is new for this site.

    ``follow``: numbers of assets whose whole history is to come, though nothing was recorded of
    them here yet. ``again``: everything is asked for and offered once more.
    """
    from tagkit.exchange.address import connect

    site.record.check_writable()
    address = _needed(address_for(site, through))
    topics = [str(parse_tag(number)) for number in follow]
    with connect(address) as connection:
        return _exchange(site, connection, address, topics, again, step)


def _exchange(
    site: Site, connection: Connection, address: str, follow: list[str], again: bool, step: Progress
) -> ExchangeReport:
    from tagkit.exchange.address import shown, spoken_to
    from tagkit.exchange.round import exchange

    with site.record.noting() as notes:
        if again:
            notes.ask_again()
        notes.follow(follow)
    with spoken_to(address):
        done = exchange(site.record, connection, step)
    now = site.now().astimezone(UTC).isoformat(timespec="seconds")
    with site.record.noting() as notes:
        notes.keep_fact("exchanged_at", now)
        if notes.fact("exchange_failing"):
            notes.keep_fact("exchange_failing", "")
        if done.refusals:
            # It stays for a day: whoever watches need not have asked within that minute.
            notes.keep_fact("refused", str(done.refusals))
            notes.keep_fact("refused_at", now)
    return ExchangeReport(
        through=shown(address),
        sent=done.sent,
        fetched=done.fetched,
        already_here=done.already_here,
        followed=done.followed,
        refused=done.refused,
        refusals=done.refusals,
        notices=_notices(done),
        nothing_new=done.nothing_new,
    )


def _notices(done: Exchanged) -> tuple[str, ...]:
    return tuple(
        f"Two computers write under the key {epoch} of this site: one is a copy of the other's "
        "disk. This record goes on under a new key; what it recorded since the copy was made "
        "under the old one can't be sent. Find the other computer."
        for epoch in done.forked
    )


def log_exchange(said: ExchangeReport | TagkitError) -> None:
    """Into the log, for ``keep_exchanging(..., tell=log_exchange)``."""
    log = logging.getLogger("tagkit.exchange")
    if isinstance(said, TagkitError):
        log.warning("not exchanged: %s", said, extra={"where": said.where})
        return
    facts = {"sent": said.sent, "fetched": said.fetched, "refused": said.refusals}
    log.log(logging.DEBUG if said.nothing_new else logging.INFO, "exchanged", extra=facts)
    for sentence in (*said.refused, *said.notices):
        log.warning("%s", sentence)


def keep_exchanging(
    directory: Path,
    through: str | None,
    every: float | None,
    stop: Flag,
    tell: Callable[[ExchangeReport | TagkitError], None],
) -> None:
    """Exchanges again and again until ``stop`` is set; for a thread of its own.

    Opens the site itself. ``tell`` gets what each exchange did, or why it could not be done;
    then the next try comes later and later, up to a quarter of an hour: also when the exchange
    refuses, since a database that is just being brought back does that for a while. ``every``:
    seconds; None: as site.toml says.
    """
    from tagkit.exchange.address import connect

    connection: Connection | None = None
    failed = 0
    with open_site(directory) as site:
        site.record.check_writable()
        address = _needed(address_for(site, through))
        pause = site.settings.exchange.every_seconds if every is None else every
        try:
            while not stop.is_set():
                try:
                    if connection is None or connection.broken:
                        connection = connect(address)
                    tell(_exchange(site, connection, address, [], False, lambda *_: None))
                    failed = 0
                except TagkitError as error:
                    failed += 1
                    _let_go(connection)
                    connection = None
                    if failed == 1:
                        _note_failing(site)
                    tell(error)
                # Sites that lost the exchange at once must not all come back at once.
                wait = min(pause * 2**failed, max(pause, LONGEST_WAIT))
                stop.wait(wait * random.uniform(0.8, 1.2) if failed else wait)
        finally:
            _let_go(connection)


def _note_failing(site: Site) -> None:
    """Since when it fails, for whoever asks how the site is doing."""
    with suppress(TagkitError), site.record.noting() as notes:  # a full disk is told by tell
        if not notes.fact("exchange_failing"):
            now = site.now().astimezone(UTC).isoformat(timespec="seconds")
            notes.keep_fact("exchange_failing", now)


def _let_go(connection: Connection | None) -> None:
    if connection is not None:
        connection.close()


def send_to_site(
    site: Site, number: str, to: str, *, by: str, station: str, at: datetime | None = None
) -> tuple[str, str]:
    """Records that an asset leaves for another site, which then has its history before it
    arrives; gives its number and the event."""
    code = check_site_code(to)
    if code == site.record.site:
        raise WrongInput(f"{code} is this site", "Name the site it goes to", "--to")
    with site.record.writing(by=by, station=station, at=at) as writing:
        found = asset(writing, number)
        place = {"kind": "elsewhere", "name": f"site {code}"}
        event = writing.append("moved", [found.tag], {"battery": found.tag, "place": place})
    return found.tag, event.id


def knows_site(site: Site, code: str) -> bool:
    """Whether the company had given out this code when this record exchanged last; True as long
    as it never has."""
    known = site.record.notes().versions()
    return not known or check_site_code(code) in known


@dataclass(frozen=True)
class Elsewhere:
    """What the exchange knows of an asset. ``as_of``: when the site that told the last of it
    had last sent something."""

    found: Whereabouts
    as_of: datetime | None
    told_by: str | None


def where_elsewhere(site: Site, number: str | Tag, through: str | None = None) -> Elsewhere:
    """Where an asset of another site is, by the exchange; NotFound when it knows nothing of it.

    Nothing is kept of it here.
    """
    from tagkit.exchange.address import connect, spoken_to
    from tagkit.exchange.history import fetch_history, sent_last
    from tagkit.jobs.whereabouts import whereabouts_of
    from tagkit.record.record import Record

    address = _needed(address_for(site, through))
    tag = str(parse_tag(number) if isinstance(number, str) else number)
    address = _within(address, LOOK_UP_WITHIN)
    with (
        TemporaryDirectory(ignore_cleanup_errors=True) as folder,
        connect(address) as connection,
        Record.create(Path(folder), site.record.site, clock=site.clock) as record,
    ):
        with spoken_to(address):
            fetch_history(record, connection, [tag])
        state = record.state(tag)
        if state is None or state.registered_at is None:
            raise NotFound(
                f"neither this site's record nor the exchange knows {tag}",
                "Check the number on the label",
            )
        event = record.event(state.last_event)
        told_by = event.site if event else None
        with spoken_to(address):
            as_of = sent_last(connection, told_by) if told_by else None
        found = whereabouts_of(replace(site, record=record), state)
    return Elsewhere(found, as_of, told_by)


def known_heads(site: Site, through: str | None) -> list[str]:
    """The ends of this site's chains that the exchange has seen, for checking the record."""
    from tagkit.exchange.address import connect, spoken_to
    from tagkit.exchange.history import heads_there

    address = _needed(address_for(site, through))
    with connect(address) as connection, spoken_to(address):
        return heads_there(connection, site.record.site)


# For whoever runs the exchange


def prepare_exchange(through: str) -> bool:
    """Makes an empty database an exchange; False when it is one already."""
    from tagkit.exchange.address import connect, spoken_to
    from tagkit.exchange.layout import prepare

    with connect(through) as connection, spoken_to(through):
        return prepare(connection)


def give_out_site(through: str, code: str, name: str) -> tuple[str, str, str]:
    """Gives out a site code: the code, the role and the password, which is told this once."""
    from tagkit.exchange.address import connect, spoken_to
    from tagkit.exchange.layout import give_site

    with connect(through) as connection, spoken_to(through):
        role, password = give_site(connection, code, name)
    return check_site_code(code), role, password


def told_to_site(through: str, role: str, password: str) -> tuple[str, str]:
    """What a site that was given out needs: the address for its ``site.toml``, and the line for
    its password file."""
    from tagkit.exchange.address import for_site

    return for_site(through, role, password)


def sites_of_company(through: str) -> list[GivenSite]:
    """Every site code given out, and what each site has sent."""
    from tagkit.exchange.address import connect, spoken_to
    from tagkit.exchange.layout import sites

    with connect(through) as connection, spoken_to(through):
        return sites(connection)


def _needed(address: str | None) -> str:
    if not address:
        raise WrongInput(
            "no exchange is named",
            f"Add --through URL, set {VARIABLE}, or write it into site.toml, [exchange] through",
            "--through",
        )
    return address


def _within(address: str, seconds: int) -> str:
    if "connect_timeout=" in address:
        return address
    return f"{address}{'&' if '?' in address else '?'}connect_timeout={seconds}"
