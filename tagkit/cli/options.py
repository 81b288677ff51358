"""The options that many commands share."""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypedDict

import typer

from tagkit.errors import WrongInput

if TYPE_CHECKING:
    from tagkit.jobs.site import Site
    from tagkit.settings import Settings

SiteDir = Annotated[
    Path,
    typer.Option(
        "--site", envvar="TAGKIT_SITE", help="The site's folder.", metavar="DIR", show_default="."
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")]
Number = Annotated[
    str,
    typer.Argument(
        metavar="TAG",
        help="The number on its label, or what only it is called: "
        "fleet number, bay, maker's serial.",
    ),
]
By = Annotated[
    str | None, typer.Option("--by", help="Who did it: a person's code.", metavar="CODE")
]
At = Annotated[
    str | None,
    typer.Option("--at", help="When it happened, if not now: 14:20 or 2031-05-04T14:20.",
                 metavar="TIME"),
]  # fmt: skip
Station = Annotated[
    str | None,
    typer.Option("--station", help="The station that writes; default from site.toml.",
                 metavar="NAME"),
]  # fmt: skip
Language = Annotated[
    str | None,
    typer.Option("--language", metavar="en|es", help="Of the file; default: the site's."),
]
Force = Annotated[bool, typer.Option("--force", help="Overwrite a file that is already there.")]
Answer = Annotated[
    str | None,
    typer.Option("--answer", metavar="as-shown|as-recorded",
                 help="Which is right when the record says otherwise."),
]  # fmt: skip

HERE = Path()


def open_site(directory: Path) -> Site:
    """The site that --site names."""
    from tagkit.jobs.site import open_site as open_there

    return open_there(directory)


def who(settings: Settings, by: str | None, *, in_person: bool = False) -> str:
    """The person code of --by, or the default of site.toml.

    ``in_person``: several people do this at one computer, so that no default is taken.
    """
    code = (by or ("" if in_person else settings.station.by)).strip().upper()
    if not code and in_person:
        raise WrongInput("nobody is named", "Say who changes the battery: --by CODE", "--by")
    if not code:
        raise WrongInput(
            "nobody is named", "Add --by CODE, or set a default in site.toml, [station] by", "--by"
        )
    if not re.fullmatch(r"[A-Z0-9._-]{1,16}", code):
        raise WrongInput(
            f"“{code}” is not a person's code", "Use up to 16 letters, digits, . _ -", "--by"
        )
    return code


def noted_who(site: Site, by: str | None, *, in_person: bool = False) -> str:
    """The same; that this person is not authorised is said at the end."""
    from tagkit.cli.show import note_at_end
    from tagkit.jobs.people import authorisation_note

    code = who(site.settings, by, in_person=in_person)
    note_at_end(authorisation_note(site, code))
    return code


def station_name(settings: Settings, station: str | None) -> str:
    """The station name of --station, or the default of site.toml."""
    name = (station or settings.station.name).strip()
    if not re.fullmatch(r"[A-Za-z0-9._-]{1,32}", name):
        raise WrongInput(
            f"“{name}” is not a station's name", "Use up to 32 letters, digits, . _ -", "--station"
        )
    return name


def moment(site: Site, at: str | None) -> datetime | None:
    """The time of --at; None means now."""
    if at is None:
        return None
    from tagkit.jobs.moments import moment_of

    return moment_of(site, at, "--at")


class Entry(TypedDict):
    """By whom, where and when something is entered into the record; None means now."""

    by: str
    station: str
    at: datetime | None


def entry(
    site: Site,
    by: str | None,
    station: str | None,
    at: str | None,
    *,
    in_person: bool = False,
    notes: bool = True,
) -> Entry:
    """What --by, --station and --at say together; see :func:`who` for ``in_person``.

    That this person is not authorised is said at the end, unless the command itself says it
    (``notes`` False).
    """
    return Entry(
        by=noted_who(site, by, in_person=in_person)
        if notes
        else who(site.settings, by, in_person=in_person),
        station=station_name(site.settings, station),
        at=moment(site, at),
    )


def free_to_write(path: Path, force: bool) -> Path:
    """``path``, unless a file is already there (then WrongInput) or its folder is missing."""
    if path.is_dir():
        raise WrongInput(f"{path} is a folder", "Name a file")
    if path.exists() and not path.is_file():
        # A whole file would be put in the place of the device itself.
        raise WrongInput(f"{path} is a device, not a file", "Name a file")
    if path.exists() and not force:
        raise WrongInput(f"{path} is already there", "Name another file, or add --force")
    if not path.parent.is_dir():
        raise WrongInput(f"the folder {path.parent} is not there", "Make it first")
    return path
