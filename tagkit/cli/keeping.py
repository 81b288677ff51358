"""Commands that make, check and keep a site's record."""

from __future__ import annotations

import getpass
import os
import re
import sys
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from tagkit.cli.options import HERE, AsJson, Force, SiteDir, free_to_write, open_site
from tagkit.cli.progress import progress
from tagkit.cli.show import clock_time, json_out, line
from tagkit.errors import Exit, WrongInput

record_app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Repair what is kept beside the journal."
)


@record_app.command()
def rebuild(site: SiteDir = HERE, as_json: AsJson = False) -> None:
    """Fold every state again from the signed events, and say what differed."""
    from tagkit.jobs.keep import rebuild_record

    with progress(as_json) as step:
        report = rebuild_record(site, lambda done, total: step("folding", done, total))
    if as_json:
        json_out(report.to_json())
        return
    for difference in report.differences:
        line(f"MENDED  {difference}", style="bold red")
    line(
        f"{report.events} events folded again into {report.assets} assets: "
        + (f"{len(report.differences)} mended." if report.differences else "all was right.")
    )


def init(
    directory: Annotated[Path, typer.Argument(metavar="DIR", help="A new or an empty folder.")],
    code: Annotated[str, typer.Option("--code", help="Site code, 2 to 4 letters, like QM.")],
    name: Annotated[str, typer.Option("--name", help="Name of the site, for reports.")] = "",
    language: Annotated[str, typer.Option("--language", help="Of the labels: en or es.")] = "en",
    units: Annotated[
        str, typer.Option("--units", help="metric (A4 sheets) or us (Letter).")
    ] = "metric",
    by: Annotated[
        str | None,
        typer.Option(
            "--by",
            metavar="CODE",
            help="Person code used where --by is left out; "
            "default: the name you are logged in with.",
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Make a new, empty site: its folder, its site.toml with every default, its record.

    Example: tagkit init my-depot --code QM
    """
    from tagkit.jobs.site import create_site
    from tagkit.settings import Settings
    from tagkit.site_toml import parse_settings, settings_text

    defaults = Settings()
    wanted = replace(
        defaults,
        site=replace(defaults.site, code=code.upper(), name=name, language=language, units=units),
        station=replace(defaults.station, by=by or _logged_in()),
    )
    checked = parse_settings(settings_text(wanted), "the options given")
    with create_site(directory, code, checked) as site:
        if as_json:
            json_out({"site": site.settings.site.code, "directory": str(directory)})
            return
        line(f"Made the site {site.settings.site.code} in {directory}.")
        line(f"Its settings, with every default explained, are in {directory / 'site.toml'}.")
        line(
            f"Entries without --by are by {checked.station.by or 'nobody'} (site.toml, [station] by)."
        )
        first = f"tagkit authorise CODE --role supervisor --by CODE --site {directory}"
        line(f"Next, its first supervisor: {first}")
        line(f"Then: tagkit receive DELIVERY.csv --site {directory} --labels labels.pdf")


def _logged_in() -> str:
    """The login name as a person's code, or nothing where there is none."""
    try:
        name = getpass.getuser()
    except (OSError, KeyError, ImportError):
        return ""
    return re.sub(r"[^A-Z0-9._-]", "", name.upper())[:16]


def verify(
    site: SiteDir = HERE,
    head: Annotated[
        list[str] | None,
        typer.Option(
            "--head",
            metavar="HEAD",
            help="A head as a report or an earlier check printed it, like "
            "desk:417:7d35c9052c23c1d5, or a file that holds some: text, PDF, CSV, XLSX, JSON.",
        ),
    ] = None,
    through: Annotated[
        str | None,
        typer.Option("--through", metavar="URL", help="An exchange that has seen the heads."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Check the record: changed, removed, inserted or reordered events, a cut-off tail, a copy."""
    from tagkit.jobs.keep import check_record

    with progress(as_json) as step:
        report = check_record(
            site, head or [], lambda done, total: step("checking", done, total), through
        )
    if as_json:
        json_out(report.to_json())
    else:
        for finding in report.findings:
            line(f"FOUND  {finding}", style="bold red")
        for notice in report.notices:
            line(f"note   {notice}")
        line(
            f"{report.events} events checked: "
            + ("nothing found." if not report.findings else f"{len(report.findings)} found.")
        )
        if not report.findings:
            line("Keep these heads elsewhere; with --head a cut-off tail shows as well:")
            for known in report.heads:
                line(f"  {known}")
    if report.findings:
        raise typer.Exit(Exit.VERIFY_FOUND)


Password = Annotated[
    bool, typer.Option("--password", help="Sealed with a password, which is asked for.")
]


def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The file to write.")],
    site: SiteDir = HERE,
    force: Force = False,
    keep: Annotated[
        int | None,
        typer.Option("--keep", min=1, help="Put the date into the name; leave so many files."),
    ] = None,
    password: Password = False,
    as_json: AsJson = False,
) -> None:
    """Copy the record into one file while it is in use, and check the copy.

    The variable TAGKIT_BACKUP_PASSWORD gives the password where nobody can be asked.

    Example: tagkit backup friday.db
    """
    from tagkit.jobs.keep import back_up

    secret = _password(confirm=True) if password else None
    with open_site(site) as opened:
        target = file if keep is not None else free_to_write(file, force)
        done = back_up(opened, target, force, keep=keep, password=secret)
    if as_json:
        removed = [str(one) for one in done.removed]
        json_out({"file": str(done.file), "events": done.events, "removed": removed,
                  "sealed": secret is not None})  # fmt: skip
    else:
        line(f"{done.events} events are in {done.file}, read back and checked.")
        line("It holds the settings and no keys.")
        for old in done.removed:
            line(f"Removed {old}.")


def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A file made by “tagkit backup”.")],
    directory: Annotated[Path, typer.Argument(metavar="DIR", help="A new or an empty folder.")],
    password: Password = False,
    as_json: AsJson = False,
) -> None:
    """Make a site from a backup. It begins a new epoch, so that two copies never mix.

    Example: tagkit restore friday.db my-depot-again
    """
    from tagkit.jobs.keep import restore_site

    done = restore_site(file, directory, _password() if password else None)
    if as_json:
        json_out({"directory": str(directory), "events": done.events, "until": done.until,
                  "settings": done.settings, "held": list(done.held)})  # fmt: skip
    else:
        line(f"{done.events} events are in {directory}, the one that marks the new epoch included.")
        if done.until:
            line(
                f"The last one happened {clock_time(done.until, None)}; "
                "later ones are not in this backup."
            )
        line(
            {
                "backup": "Its site.toml is the one of the backup.",
                "folder": "The site.toml that was there is kept.",
                "defaults": "This backup holds no settings: compare site.toml, which has the "
                "defaults, with the one you kept.",
            }[done.settings]
        )
        line(
            "PINs, stations and the certificate are in no backup: choose PINs with “tagkit pin”, "
            "and enrol the stations again with “tagkit enrol”."
        )
        if done.held:
            line(
                f"Out of service: {', '.join(done.held)}. Where a card is missing, print it with "
                "“tagkit out-of-service TAG --out FILE”."
            )


def _password(confirm: bool = False) -> str:
    secret = os.environ.get("TAGKIT_BACKUP_PASSWORD")
    if not secret and not sys.stdin.isatty():
        raise WrongInput(
            "there is no terminal to ask for the password at",
            "Set the variable TAGKIT_BACKUP_PASSWORD",
            "--password",
        )
    return secret or str(
        typer.prompt("Password", hide_input=True, confirmation_prompt=confirm, err=True)
    )
