"""Commands for step lists: shown, edited, confirmed."""

from __future__ import annotations

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
    open_site,
)
from tagkit.cli.show import json_out, line
from tagkit.errors import WrongInput

app = typer.Typer(
    help="Steps of a change, a charge, watering, a spill.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
Language = Annotated[str | None, typer.Option("--language", help="en or es; default: the site's.")]


@app.command("show")
def show(
    procedure: Annotated[
        str | None,
        typer.Argument(
            metavar="[PROCEDURE]",
            help="“change by lifting”, “change by rollers”, charging, watering or spill.",
        ),
    ] = None,
    language: Language = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """The steps, one by one. Example: tagkit steps show charging --language es"""
    from tagkit.jobs.steps import NOTE, all_steps, step_list

    with open_site(site) as opened:
        found = (
            [step_list(opened, procedure, language)] if procedure else all_steps(opened, language)
        )
    if as_json:
        json_out({"procedures": [one.to_json() for one in found]})
        return
    for one in found:
        line(one.title, style="bold")
        for number, step in enumerate(one.steps, 1):
            line(f"  {number}. {step}", hang=5)
    line(NOTE)


@app.command("edit")
def edit(force: Force = False, site: SiteDir = HERE, as_json: AsJson = False) -> None:
    """Write steps.toml into the site, to be edited in any text editor. Example: tagkit steps edit"""
    from tagkit.jobs.steps import write_steps

    with open_site(site) as opened:
        path = write_steps(opened, force=force)
    if as_json:
        json_out({"file": str(path)})
    else:
        line(f"{path}: edit it; what stands there is shown from then on.")


@app.command("confirm")
def confirm(
    procedure: Annotated[str, typer.Argument(metavar="PROCEDURE")],
    left_out: Annotated[
        str, typer.Option("--left-out", metavar="N,N", help="Steps that were not done.")
    ] = "",
    tag: Annotated[
        list[str] | None, typer.Option("--tag", metavar="TAG", help="Assets concerned.")
    ] = None,
    language: Language = None,
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Record that somebody went through the steps of a procedure.

    Example: tagkit steps confirm charging --tag B-QM-00417-D --by KM
    """
    from tagkit.jobs.steps import confirm_steps

    words = left_out.replace(",", " ").split()
    if not all(word.isdigit() for word in words):
        raise WrongInput(
            f"“{left_out}” are no steps", "Write their numbers, like 3,5", "--left-out"
        )
    with open_site(site) as opened:
        event = confirm_steps(
            opened,
            procedure,
            left_out=[int(word) for word in words],
            assets=tag or (),
            language=language,
            **entry(opened, by, station, at),
        )
    if as_json:
        json_out({"event": event.id, **event.body})
        return
    line(f"Recorded: {len(event.body['steps'])} steps of {event.body['procedure']}.")
    for step in event.body["left_out"]:
        line(f"! left out: {step}", style="bold", hang=2)
