"""Commands that write reports: a battery's history, the month, authorised people, leaving."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from tagkit.cli.grouped import grouped
from tagkit.cli.named import number_of
from tagkit.cli.options import HERE, AsJson, Force, Language, SiteDir, free_to_write, open_site
from tagkit.cli.show import json_out, line

app = typer.Typer(
    help="Reports as PDF, CSV, XLSX or JSON, by the name of the file.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@dataclass(frozen=True)
class Report:
    """The file a report goes into, and the site it is of."""

    out: Annotated[Path, typer.Option("--out", metavar="FILE", help=".pdf, .csv, .xlsx or .json.")]
    language: Language = None
    force: Force = False
    site: SiteDir = HERE
    as_json: AsJson = False

    def check(self) -> None:
        """WrongInput unless the file can be written."""
        from tagkit.jobs.report_file import check_report_file

        check_report_file(free_to_write(self.out, self.force))

    def say(self, content: dict[str, object]) -> None:
        """That it is written; ``content`` for programs."""
        if self.as_json:
            json_out({"file": str(self.out), **content})
        else:
            line(f"{self.out} is written.")


@app.command("battery")
@grouped
def battery(tag: Annotated[str, typer.Argument(metavar="BATTERY")], to: Report) -> None:
    """The history sheet of a battery: two pages with charts and its QR code.

    Example: tagkit report battery B-QM-00417-D --out b417.pdf
    """
    from tagkit.assets.tag import Kind
    from tagkit.jobs.history_sheet import report_battery
    from tagkit.jobs.report_file import words_of

    to.check()
    with open_site(to.site) as opened:
        number = number_of(opened, tag, to.as_json, Kind.BATTERY)
        found = report_battery(opened, number, to.out, words_of(opened, to.language))
    to.say(found.to_json())


@app.command("month")
@grouped
def month(
    to: Report,
    name: Annotated[
        str | None, typer.Argument(metavar="[YYYY-MM]", help="Default: the last whole month.")
    ] = None,
) -> None:
    """The month of the battery room. Example: tagkit report month 2031-04 --out april.pdf"""
    from tagkit.jobs.month_report import report_month
    from tagkit.jobs.report_file import words_of

    to.check()
    with open_site(to.site) as opened:
        found = report_month(opened, name, to.out, words_of(opened, to.language))
    to.say(found.to_json())


@app.command("people")
@grouped
def people(to: Report) -> None:
    """Who is authorised until when. Example: tagkit report people --out people.xlsx"""
    from tagkit.jobs.people_report import report_people
    from tagkit.jobs.report_file import words_of

    to.check()
    with open_site(to.site) as opened:
        found = report_people(opened, to.out, words_of(opened, to.language))
    to.say(found.to_json())


@app.command("leaving")
@grouped
def leaving(
    tag: Annotated[str, typer.Argument(metavar="TAG", help="The number of what has left.")],
    to: Report,
) -> None:
    """The receipt of leaving, to be signed by whoever takes it.

    Example: tagkit report leaving B-QM-00417-D --out leaving.pdf
    """
    from tagkit.jobs.leaving_report import report_leaving
    from tagkit.jobs.report_file import words_of

    to.check()
    with open_site(to.site) as opened:
        found = report_leaving(opened, tag, to.out, words_of(opened, to.language))
    to.say(found.to_json())
