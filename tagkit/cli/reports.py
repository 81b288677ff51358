"""Commands that write reports: a battery's history, the month, authorised people, leaving."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tagkit.cli.named import number_of
from tagkit.cli.options import HERE, AsJson, Force, Language, SiteDir, free_to_write, open_site
from tagkit.cli.show import json_out, line

app = typer.Typer(
    help="Reports as PDF, CSV, XLSX or JSON, by the name of the file.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

Out = Annotated[Path, typer.Option("--out", metavar="FILE", help=".pdf, .csv, .xlsx or .json.")]


@app.command("battery")
def battery(
    tag: Annotated[str, typer.Argument(metavar="BATTERY")],
    out: Out,
    language: Language = None,
    force: Force = False,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """The history sheet of a battery: two pages with charts and its QR code.

    Example: tagkit report battery B-QM-00417-D --out b417.pdf
    """
    from tagkit.assets.tag import Kind
    from tagkit.jobs.history_sheet import report_battery
    from tagkit.jobs.report_file import words_of

    _check(out, force)
    with open_site(site) as opened:
        found = report_battery(
            opened, number_of(opened, tag, as_json, Kind.BATTERY), out, words_of(opened, language)
        )
    _say(found.to_json(), out, as_json)


@app.command("month")
def month(
    out: Out,
    name: Annotated[
        str | None, typer.Argument(metavar="[YYYY-MM]", help="Default: the last whole month.")
    ] = None,
    language: Language = None,
    force: Force = False,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """The month of the battery room. Example: tagkit report month 2031-04 --out april.pdf"""
    from tagkit.jobs.month_report import report_month
    from tagkit.jobs.report_file import words_of

    _check(out, force)
    with open_site(site) as opened:
        found = report_month(opened, name, out, words_of(opened, language))
    _say(found.to_json(), out, as_json)


@app.command("people")
def people(
    out: Out,
    language: Language = None,
    force: Force = False,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Who is authorised until when. Example: tagkit report people --out people.xlsx"""
    from tagkit.jobs.people_report import report_people
    from tagkit.jobs.report_file import words_of

    _check(out, force)
    with open_site(site) as opened:
        found = report_people(opened, out, words_of(opened, language))
    _say(found.to_json(), out, as_json)


@app.command("leaving")
def leaving(
    tag: Annotated[str, typer.Argument(metavar="TAG", help="The number of what has left.")],
    out: Out,
    language: Language = None,
    force: Force = False,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """The receipt of leaving, to be signed by whoever takes it.

    Example: tagkit report leaving B-QM-00417-D --out leaving.pdf
    """
    from tagkit.jobs.leaving_report import report_leaving
    from tagkit.jobs.report_file import words_of

    _check(out, force)
    with open_site(site) as opened:
        found = report_leaving(opened, tag, out, words_of(opened, language))
    _say(found.to_json(), out, as_json)


def _check(out: Path, force: bool) -> None:
    from tagkit.jobs.report_file import check_report_file

    free_to_write(out, force)
    check_report_file(out)


def _say(content: dict[str, object], out: Path, as_json: bool) -> None:
    if as_json:
        json_out({"file": str(out), **content})
    else:
        line(f"{out} is written.")
