"""Commands that hold assets out of use and release them."""

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

Number = Annotated[str, typer.Argument(metavar="TAG", help="The number on its label.")]
Reason = Annotated[str, typer.Option("--reason", help="Why, in a few words.")]


def hold(
    tag: Number,
    reason: Reason,
    safety: Annotated[
        bool,
        typer.Option("--safety", help="Leak, cracked case, bare cable, reversed cell: only an "
                     "inspection lifts it."),
    ] = False,
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """Hold a battery, truck, charger or lifting gear out of use."""
    from tagkit.jobs.hold import hold as log_hold

    with open_site(site) as opened:
        event = log_hold(
            opened,
            tag,
            reason,
            safety=safety,
            **entry(opened, by, station, at),
        )
    if as_json:
        json_out({"event": event.id, "asset": event.body["asset"], "safety": safety})
        return
    line(f"{event.body['asset']} is held: {event.body['reason']}.", style="bold")
    line("Put an out-of-service card on it and keep it apart.")
    if safety:
        line("Only an inspection lifts this hold. Follow the maker's instructions and local codes.")


def release(
    tag: Number,
    reason: Reason,
    inspected: Annotated[
        bool, typer.Option("--inspected", help="An inspection found the cause mended.")
    ] = False,
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Lift holds, or let a battery that is not ready be used once. A supervisor does it."""
    from tagkit.jobs.hold import release as log_release

    with open_site(site) as opened:
        events = log_release(
            opened,
            tag,
            reason,
            inspected=inspected,
            **entry(opened, by, station, at),
        )
    asset = events[0].body["asset"]
    if as_json:
        json_out({"events": [event.id for event in events], "asset": asset})
    elif events[0].body["hold"] is None:
        line(f"{asset} may be used once although it is not ready: {reason}.")
    else:
        line(f"{asset} is released: {reason}.")
