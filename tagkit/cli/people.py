"""Commands about people: only codes, roles and dates."""

from __future__ import annotations

from typing import Annotated

import typer

from tagkit.cli.options import (
    HERE,
    AsJson,
    At,
    By,
    SiteDir,
    Station,
    entry,
    open_site,
)
from tagkit.cli.show import json_out, line


def authorise(
    person: Annotated[str, typer.Argument(metavar="CODE", help="The person's code.")],
    role: Annotated[str, typer.Option("--role", help="attendant, technician or supervisor.")],
    initials: Annotated[str, typer.Option("--initials", help="As shown on the screen.")] = "",
    until: Annotated[
        str | None, typer.Option("--until", help="Last day, YYYY-MM-DD.", metavar="DATE")
    ] = None,
    reference: Annotated[
        str | None, typer.Option("--reference", help="Where the employer keeps the certificate.")
    ] = None,
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Record who may do what, and until when.

    The first person of a site is a supervisor and authorises themselves; training and evaluation
    records stay with the employer.

    Example: tagkit authorise KM --role attendant --until 2032-05-31 --by SW
    """
    from tagkit.jobs.people import authorise as log_authorised
    from tagkit.jobs.people import last_day_passed

    with open_site(site) as opened:
        event = log_authorised(
            opened,
            person,
            initials,
            role,
            until,
            reference,
            **entry(opened, by, station, at),
        )
        over = last_day_passed(opened, event.body["until"])
    if as_json:
        json_out({"event": event.id, **event.body})
    elif over:
        line(f"{event.body['person']} is no longer authorised: the last day, {event.body['until']}, "
             "is over.")  # fmt: skip
    else:
        last = f" until {until}" if until else ""
        line(f"{event.body['person']} is authorised as {role}{last}.")
