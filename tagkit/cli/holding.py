"""Commands that hold assets out of use and release them."""

from __future__ import annotations

from typing import Annotated

import typer

from tagkit.cli.hold_cards import (
    CardFile,
    NoCard,
    check_card_options,
    end_with_card,
    print_hold_card,
    say_card,
)
from tagkit.cli.named import number_of
from tagkit.cli.options import (
    HERE,
    AsJson,
    At,
    By,
    Force,
    Number,
    SiteDir,
    Station,
    entry,
    open_site,
)
from tagkit.cli.show import json_out, line
from tagkit.errors import WrongInput

Reason = Annotated[str, typer.Option("--reason", help="Why, in a few words.")]


def hold(
    tag: Number,
    reason: Reason,
    safety: Annotated[
        bool,
        typer.Option("--safety", help="Leak, cracked case, bare cable, reversed cell: only an "
                     "inspection lifts it."),
    ] = False,
    card: CardFile = None,
    no_card: NoCard = False,
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
    """Hold a battery, truck, charger or lifting gear out of use; its card is printed with it.

    Example: tagkit hold B-QM-00417-D --reason "connector pin burnt" --by KM
    """
    from tagkit.jobs.hold import hold as log_hold

    if template is not None and card is None:
        raise WrongInput("a template without a card", "Name the card's file with --card")
    with open_site(site) as opened:
        tag = number_of(opened, tag, as_json)
        check_card_options(opened, card, no_card, force, template)
        event = log_hold(
            opened,
            tag,
            reason,
            safety=safety,
            **entry(opened, by, station, at),
        )
        asset = event.body["asset"]
        printed = print_hold_card(opened, asset, card, no_card, as_json, template)
    if as_json:
        told = {"event": event.id, "asset": asset, "safety": safety}
        json_out({**told, "card": printed.to_json() if printed else None})
    else:
        line(f"{asset} is held: {event.body['reason']}.", style="bold")
        say_card(True, printed)
        if safety:
            line("Only an inspection lifts this hold. "
                 "Follow the maker's instructions and local codes.")  # fmt: skip
    end_with_card(printed, card is not None)


def release(
    tag: Number,
    reason: Reason,
    inspected: Annotated[
        bool, typer.Option("--inspected", help="An inspection found the cause mended.")
    ] = False,
    once: Annotated[
        bool,
        typer.Option("--once", help="Let a battery that is not held but not ready be used once, "
                     "from now."),
    ] = False,
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """Lift holds or, with --once, let a battery that is not ready be used once. A supervisor does it.

    Example: tagkit release B-QM-00417-D --reason "contacts renewed" --by SW
    """
    from tagkit.jobs.hold import release as log_release

    with open_site(site) as opened:
        tag = number_of(opened, tag, as_json)
        events = log_release(
            opened,
            tag,
            reason,
            inspected=inspected,
            once=once,
            **entry(opened, by, station, at),
        )
    asset = events[0].body["asset"]
    if as_json:
        json_out({"events": [event.id for event in events], "asset": asset})
    elif events[0].body["hold"] is None:
        line(f"{asset} may be used once although it is not ready: {reason}.")
    else:
        line(f"{asset} is released: {reason}.")
