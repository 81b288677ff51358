"""Commands that print cards: for the station's commands, for people, for what is held."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tagkit.cli.options import HERE, AsJson, Force, SiteDir, free_to_write, open_site
from tagkit.cli.progress import progress
from tagkit.cli.show import json_out, line, plural

if TYPE_CHECKING:
    from tagkit.jobs.printing import Printed

Out = Annotated[
    Path, typer.Option("--out", metavar="FILE", help="The file: .pdf, .svg or .png.")
]  # fmt: skip
Template = Annotated[
    str | None,
    typer.Option("--template", metavar="NAME", help="A template's name, or a .toml of your own."),
]


def cards(
    out: Out,
    template: Template = None,
    force: Force = False,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Print the cards LOG, UNDO, HOLD and NEXT, shown to the camera with gloves on.

    Example: tagkit cards --out cards.pdf
    """
    from tagkit.jobs.cards import print_command_cards

    free_to_write(out, force)
    with open_site(site) as opened, progress(as_json) as step:
        printed = print_command_cards(opened, out, template, step)
    _say(printed, as_json, "Laminate them and hang them beside the station's camera.")


def badges(
    out: Out,
    people: Annotated[
        list[str] | None,
        typer.Argument(metavar="[CODE]...", help="None: everyone whose authorisation runs."),
    ] = None,
    template: Template = None,
    force: Force = False,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Print a badge for each person, by which a station knows who works there.

    Example: tagkit badges --out badges.pdf
    """
    from tagkit.jobs.cards import print_badges

    free_to_write(out, force)
    with open_site(site) as opened, progress(as_json) as step:
        printed = print_badges(opened, people or (), out, template, step)
    _say(
        printed, as_json, "A badge says who somebody is and proves nothing: hand it over in person."
    )


def out_of_service(
    tag: Annotated[str, typer.Argument(metavar="TAG", help="The number of what is held.")],
    out: Out,
    template: Template = None,
    force: Force = False,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Print the card for a battery, truck or charger that is held: why, since when, by whom.

    Example: tagkit out-of-service B-QM-00417-D --out card.pdf
    """
    from tagkit.jobs.cards import print_out_of_service

    free_to_write(out, force)
    with open_site(site) as opened, progress(as_json) as step:
        printed = print_out_of_service(opened, tag, out, template, step)
    _say(
        printed,
        as_json,
        "Tie it where everyone sees it. It is no lockout device: isolate, lock and tag by the "
        "site's procedure.",
    )


def _say(printed: Printed, as_json: bool, advice: str) -> None:
    if as_json:
        json_out(printed.to_json())
        return
    line(f"{printed.file}: {plural(printed.labels, 'card')} on {plural(printed.pages, 'page')}, "
         f"template {printed.template}, each read back from pixels.")  # fmt: skip
    line(advice)
