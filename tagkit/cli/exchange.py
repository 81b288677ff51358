"""Commands about the company's other sites."""

from __future__ import annotations

import threading
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated

import typer

from tagkit.cli.options import HERE, AsJson, At, By, SiteDir, Station, entry, open_site
from tagkit.cli.progress import progress
from tagkit.cli.show import clock_time, json_out, line, plural, problem, table
from tagkit.errors import Busy, TagkitError

if TYPE_CHECKING:
    from tagkit.jobs.exchange import ExchangeReport

Through = Annotated[
    str | None,
    typer.Option(
        "--through",
        metavar="URL",
        help="Address of the exchange, postgresql://USER@HOST/DATABASE; "
        "default: TAGKIT_EXCHANGE, else site.toml.",
    ),
]
ThroughAdmin = Annotated[
    str,
    typer.Option(
        "--through",
        envvar="TAGKIT_EXCHANGE_ADMIN",
        metavar="URL",
        help="Address of the database, as a user who may make roles.",
    ),
]
Tag = Annotated[str, typer.Argument(metavar="TAG", help="The number on its label.")]


def exchange(
    through: Through = None,
    every: Annotated[
        float | None,
        typer.Option("--every", min=1, metavar="SECONDS", help="Again and again, until Ctrl-C."),
    ] = None,
    follow: Annotated[
        list[str] | None,
        typer.Option(
            "--follow",
            metavar="TAG",
            help="Fetch the whole history of an asset that nothing was recorded of here.",
        ),
    ] = None,
    again: Annotated[
        bool, typer.Option("--again", help="Ask for and offer everything once more.")
    ] = False,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Send to the company's other sites what is new here, and fetch what concerns this site."""
    from tagkit.jobs.exchange import exchange_now, keep_exchanging

    try:
        with open_site(site) as opened, progress(as_json) as step:
            report = exchange_now(opened, through, follow=follow or (), again=again, step=step)
            _print(report, as_json)
    except Busy as error:
        if every is None or follow or again:
            raise
        problem(str(error))  # as later on: it is tried again
    if every is None:
        return
    stop = threading.Event()

    def tell(said: ExchangeReport | TagkitError) -> None:
        if isinstance(said, TagkitError):
            problem(str(said))
        elif as_json or not said.nothing_new:
            _print(said, as_json)

    stop.wait(every)
    keep_exchanging(site, through, every, stop, tell)


_NAMED = 10
"""Assets newly followed that are named; the others are counted, and stand in the JSON."""


def _print(report: ExchangeReport, as_json: bool) -> None:
    if as_json:
        json_out(report.to_json())
        return
    if report.nothing_new:
        line("Nothing new on either side.")
    else:
        line(f"{plural(report.sent, 'event')} sent, {report.fetched} fetched.")
    if report.followed:
        more = len(report.followed) - _NAMED
        line(f"Followed from now on: {', '.join(report.followed[:_NAMED])}"
             + (f" and {more} more." if more > 0 else "."), hang=2)  # fmt: skip
    for sentence in report.refused:
        line(f"refused  {sentence}", style="bold red", hang=2)
    for notice in report.notices:
        line(notice, style="bold red", hang=2)


def send(
    tag: Tag,
    to: Annotated[str, typer.Option("--to", metavar="CODE", help="The site it goes to.")],
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Record that an asset leaves for another site of the company.

    After the next exchange of both, that site has its history before it arrives.

    Example: tagkit send B-QM-00417-D --to NB --by SW
    """
    from tagkit.jobs.exchange import knows_site, send_to_site

    code = to.strip().upper()
    with open_site(site) as opened:
        number, event = send_to_site(opened, tag, to, **entry(opened, by, station, at))
        known = knows_site(opened, code)
    if as_json:
        json_out({"event": event, "tag": number, "to": code, "known": known})
        return
    line(f"{number} is on its way to site {code}.")
    if not known:
        line(
            f"The company has given out no code {code}, as far as this record knew at its last "
            f'exchange. If another site is meant: tagkit void {event} --reason "wrong site", '
            "then send it again.",
            style="bold red",
            hang=2,
        )


def company(
    through: ThroughAdmin,
    code: Annotated[
        str | None, typer.Argument(metavar="CODE", help="A site code to give out, like QM.")
    ] = None,
    name: Annotated[str, typer.Option("--name", help="What the site is called.")] = "",
    prepare: Annotated[
        bool, typer.Option("--prepare", help="Make an empty database the company's exchange.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Run the company's exchange: prepare it, give out site codes, list the sites.

    Example: tagkit company --through postgresql://exchange.example/fleet
    """
    from tagkit.jobs.exchange import (
        give_out_site,
        prepare_exchange,
        sites_of_company,
        told_to_site,
    )

    made = prepare_exchange(through) if prepare else None
    given = give_out_site(through, code, name) if code else None
    if as_json:
        json_out(
            {
                "prepared": made,
                "given": dict(zip(("site", "role", "password"), given, strict=True))
                if given
                else None,
                "sites": [
                    {
                        "site": one.site,
                        "name": one.name,
                        "role": one.role,
                        "given_at": one.given_at.astimezone(UTC).isoformat(timespec="seconds"),
                        "sent_at": one.sent_at
                        and one.sent_at.astimezone(UTC).isoformat(timespec="seconds"),
                        "events": one.events,
                    }
                    for one in sites_of_company(through)
                ],
            }
        )
        return
    if made is not None:
        line("The exchange is prepared." if made else "It was prepared before.")
    if given:
        there, secret = told_to_site(through, given[1], given[2])
        line(f"Site {given[0]} is given out. Its user is {given[1]}, its password, told this once:")
        line(f"  {given[2]}")
        line("On that site's computer, in site.toml, [exchange] (no password there):")
        line(f'  through = "{there}"')
        line("and in the password file that PGPASSFILE names, readable by one user only:")
        line(f"  {secret}")
    if made is None and given is None:
        rows = sites_of_company(through)
        if not rows:
            line("No site code is given out yet: tagkit company CODE --name NAME --through URL")
            return
        table(
            ("site", "name", "events", "last sent"),
            [
                (
                    one.site,
                    one.name,
                    f"{one.events:,}",
                    _when(one.sent_at),
                )
                for one in rows
            ],
        )


def _when(moment: datetime | None) -> str:
    return clock_time(moment, None) if moment else "never"
