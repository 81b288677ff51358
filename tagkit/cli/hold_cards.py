"""The out-of-service card that commands print with a hold."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tagkit.cli.options import free_to_write
from tagkit.cli.progress import progress
from tagkit.cli.show import line, problem
from tagkit.errors import WrongInput

if TYPE_CHECKING:
    from tagkit.jobs.hold_card import HoldCard
    from tagkit.jobs.site import Site

CardFile = Annotated[
    Path | None,
    typer.Option("--card", metavar="FILE", help="Where it ends in a hold: its out-of-service card "
                 "goes there (.pdf, .svg, .png); default: into the site's prints folder."),
]  # fmt: skip
NoCard = Annotated[bool, typer.Option("--no-card", help="A hold without its card.")]


def check_card_options(
    site: Site, card: Path | None, no_card: bool, force: bool, template: str | None = None
) -> None:
    """WrongInput before anything is recorded when the card could not be printed as asked."""
    if card is None:
        return
    if no_card:
        raise WrongInput("a card and no card are asked for", "Leave one of the two out", "--card")
    from tagkit.jobs.cards import check_card

    check_card(site, free_to_write(card, force), template)


def print_hold_card(
    site: Site, tag: str | None, card: Path | None, no_card: bool, as_json: bool,
    template: str | None = None,
) -> HoldCard | None:  # fmt: skip
    """The card of what was just held; None when nothing was, or none is wanted."""
    if tag is None or no_card:
        return None
    from tagkit.jobs.hold_card import card_for_hold

    with progress(as_json) as step:
        return card_for_hold(site, tag, card, template, step)


def say_card(held: bool, card: HoldCard | None) -> None:
    """Where the card is, or what to do without one."""
    if card is not None and card.trouble is None:
        line(card.words)
    elif held and card is None:
        line("Put an out-of-service card on it and keep it apart.")


def end_with_card(card: HoldCard | None, asked_for: bool) -> None:
    """Tells what went wrong with a card; the command fails for it where the card was asked for."""
    if card is not None and card.trouble is not None:
        problem(card.words)
        if asked_for:
            raise typer.Exit(card.trouble.exit_code)
