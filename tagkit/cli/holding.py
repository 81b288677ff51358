"""Commands that hold assets out of use and release them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tagkit.cli.options import (
    HERE,
    AsJson,
    At,
    By,
    Force,
    SiteDir,
    Station,
    entry,
    free_to_write,
    open_site,
)
from tagkit.cli.progress import progress
from tagkit.cli.show import json_out, line, problem
from tagkit.errors import TagkitError, WrongInput

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
    card: Annotated[
        Path | None,
        typer.Option("--card", metavar="FILE", help="Print its out-of-service card as well: "
                     ".pdf, .svg or .png."),
    ] = None,
    template: Annotated[
        str | None,
        typer.Option("--template", metavar="NAME", help="The card's template; default by the "
                     "site's units."),
    ] = None,
    force: Force = False,
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """Hold a battery, truck, charger or lifting gear out of use."""
    from tagkit.jobs.cards import check_card, print_out_of_service
    from tagkit.jobs.hold import hold as log_hold

    if template is not None and card is None:
        raise WrongInput("a template without a card", "Name the card's file with --card")
    printed, trouble = None, None
    with open_site(site) as opened:
        if card is not None:
            check_card(opened, free_to_write(card, force), template)
        event = log_hold(
            opened,
            tag,
            reason,
            safety=safety,
            **entry(opened, by, station, at),
        )
        asset = event.body["asset"]
        if card is not None:
            try:
                with progress(as_json) as step:
                    printed = print_out_of_service(opened, asset, card, template, step)
            except TagkitError as error:  # the hold stands whatever becomes of its card
                trouble = error
    if as_json:
        told = {"event": event.id, "asset": asset, "safety": safety}
        json_out(told | ({"card": printed.to_json() if printed else None} if card else {}))
    else:
        line(f"{asset} is held: {event.body['reason']}.", style="bold")
        where = f"its card ({printed.file})" if printed else "an out-of-service card"
        line(f"Put {where} on it and keep it apart.")
        if safety:
            line("Only an inspection lifts this hold. "
                 "Follow the maker's instructions and local codes.")  # fmt: skip
    if trouble is not None:
        problem(f"{asset} is held, but its card was not printed: {trouble} Print it with "
                f"“tagkit out-of-service {asset} --out FILE”")  # fmt: skip
        raise typer.Exit(trouble.exit_code)


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
