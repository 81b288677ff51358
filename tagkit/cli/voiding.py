"""The command that cancels an entry of the record."""

from __future__ import annotations

from typing import Annotated

import typer

from tagkit.cli.options import HERE, AsJson, At, By, SiteDir, Station, entry, open_site
from tagkit.cli.show import json_out, line


def void(
    identity: Annotated[
        str, typer.Argument(metavar="ENTRY", help="Its id, as “tagkit history TAG --ids” shows it.")
    ],
    reason: Annotated[str, typer.Option("--reason", help="Why it was wrong.")],
    second: Annotated[
        str | None,
        typer.Option(
            "--second",
            metavar="CODE",
            help="The second person, where figures change that fit is judged by.",
        ),
    ] = None,
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Cancel an entry: a charge, a round, a hold, a test. It stays in the record, marked so.

    Example: tagkit void heppgg4lbxs5nsz7-30109 --reason "another battery was read"
    """
    from tagkit.jobs.void import void as log_voided

    with open_site(site) as opened:
        event = log_voided(opened, identity, reason, second, **entry(opened, by, station, at))
    if as_json:
        json_out({"event": event.id, "cancelled": event.body["event"]})
    else:
        line(f"Cancelled: {event.body['event']}. It stays in the history, marked as cancelled.")
