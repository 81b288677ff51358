"""Commands for incidents, which are kept apart from maintenance."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from tagkit.cli.hold_cards import NoCard, end_with_card, print_hold_card, say_card
from tagkit.cli.options import HERE, AsJson, At, By, SiteDir, Station, entry, open_site
from tagkit.cli.show import clock_time, json_out, line, table

if TYPE_CHECKING:
    from tagkit.jobs.incidents import Incident

app = typer.Typer(
    help="Incidents: spill, first aid, near miss, arc, dropped battery.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@app.command("report")
def report(
    sort: Annotated[
        str,
        typer.Argument(
            metavar="SORT",
            help="spill, “first aid”, “near miss”, arc, “dropped battery”, fire or other.",
        ),
    ],
    what: Annotated[str, typer.Option("--what", help="What happened.")],
    tag: Annotated[
        list[str] | None, typer.Option("--tag", metavar="TAG", help="Assets concerned.")
    ] = None,
    hurt: Annotated[
        bool | None, typer.Option("--hurt/--nobody-hurt", help="Whether anybody was hurt.")
    ] = None,
    done: Annotated[str | None, typer.Option("--done", help="What was done at once.")] = None,
    hold: Annotated[
        bool, typer.Option("--hold", help="Hold the assets for safety until inspected.")
    ] = False,
    no_card: NoCard = False,
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Record an incident. No names: those stay in the employer's own records.

    Example: tagkit incident report spill --what "overfilled, 2 l on the floor" --tag B-QM-00417-D
    """
    from tagkit.jobs.incidents import report_incident

    with open_site(site) as opened:
        found = report_incident(
            opened,
            sort.strip().lower().replace("-", " "),
            what,
            assets=tag or (),
            hurt=hurt,
            done=done,
            hold=hold,
            **entry(opened, by, station, at),
        )
        cards = [
            card
            for asset in (found.assets if hold else ())
            if (card := print_hold_card(opened, asset, None, no_card, as_json))
        ]
    if as_json:
        json_out({**found.to_json(), "cards": [card.to_json() for card in cards]})
    else:
        _say(found)
        for card in cards:
            say_card(True, card)
    for card in cards:
        end_with_card(card, asked_for=False)


def _say(found: Incident) -> None:
    from tagkit.jobs.incidents import FIRST_AID

    line(f"Recorded: {found.sort}.", style="bold")
    if words := FIRST_AID.get(found.sort):
        line(words)
    line("The site's emergency procedure and local rules decide what is to be reported further.")


@app.command("list")
def list_incidents(site: SiteDir = HERE, as_json: AsJson = False) -> None:
    """All incidents, newest first. Example: tagkit incident list"""
    from tagkit.jobs.incidents import incidents

    with open_site(site) as opened:
        found = incidents(opened)
        zone = opened.timezone()
    if as_json:
        json_out({"incidents": [one.to_json() for one in found]})
        return
    if not found:
        line("No incidents are on record.")
        return
    words = {True: "yes", False: "no", None: "not said"}
    table(
        ("when", "sort", "what", "hurt", "assets", "by"),
        [
            (
                clock_time(one.at, zone), one.sort, one.what, words[one.hurt],
                ", ".join(one.assets), one.by,
            )
            for one in found
        ],
    )  # fmt: skip
