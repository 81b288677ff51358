"""The command that reads labels; on a terminal with a camera it is a station in text."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tagkit.cli.options import HERE, AsJson, By, SiteDir, Station, open_site, station_name, who
from tagkit.cli.show import json_out, line, problem
from tagkit.errors import Exit, TagkitError, WrongInput

if TYPE_CHECKING:
    from tagkit.jobs.site import Site
    from tagkit.reader.read import Read
    from tagkit.reader.sources import Frame


def read(
    sources: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[SOURCE]...", help="Pictures, folders, videos, rtsp:// or http:// streams."
        ),
    ] = None,
    camera: Annotated[
        int | None, typer.Option("--camera", metavar="N", min=0, help="A camera: 0 is the first.")
    ] = None,
    change: Annotated[
        bool | None,
        typer.Option(
            "--change/--only-read",
            help="Run the station: verdict, then log. Default with a camera on a terminal.",
        ),
    ] = None,
    by: By = None,
    station: Station = None,
    site: SiteDir = HERE,
    only_decode: Annotated[
        bool,
        typer.Option("--only-decode", help="Do not recover damaged labels (faster on folders)."),
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Read labels from pictures, videos, streams or a camera.

    With a camera on a terminal this is a station: it shows what it saw and the verdict, and asks
    before it logs. With a site, labels that are too damaged for decoding are identified among
    its own by what is left of them, and marked as recovered: compare the number by eye. Codes
    that are not ours are said to be so. Ends with 3 when nothing of ours was read.
    """
    if camera is None and not sources:
        raise WrongInput("nothing to read from", "Name a picture, a video, a stream, or --camera 0")
    if camera is not None and sources:
        raise WrongInput("a camera and other sources at once", "Give the one or the other")
    wanted: list[str | int] = [camera] if camera is not None else list(sources or [])
    if change is None:
        change = camera is not None and sys.stdin.isatty() and not as_json
    if change:
        from tagkit.cli.station import run_station

        if len(wanted) != 1:
            raise WrongInput("a station has one camera", "Name one source")
        with open_site(site) as opened:
            code = who(opened.settings, by, in_person=True)
            name = station_name(opened.settings, station)
            run_station(opened, wanted[0], by=code, name=name)
        return
    with nullcontext() if only_decode else _site_if_any(site) as known:
        _read(wanted, known, as_json)


def _site_if_any(directory: Path) -> AbstractContextManager[Site | None]:
    """The site whose labels may be recovered; None where no folder is named and here is none."""
    from tagkit.jobs.site import SETTINGS_FILE

    if directory == HERE and not (directory / SETTINGS_FILE).is_file():
        return nullcontext()
    return open_site(directory)


def _read(wanted: Sequence[str | int], site: Site | None, as_json: bool) -> None:
    from tagkit.jobs.camera import CameraWatch
    from tagkit.jobs.looking import looks
    from tagkit.reader.decoders import hint

    ours, unread = 0, list[str]()
    trouble: TagkitError | None = None
    for source in wanted:
        watch = CameraWatch()
        try:
            for seen in looks(source, lambda told: problem(str(told)), site=site):
                ours += len(seen.labels)
                for one in (*seen.labels, *seen.foreign):
                    _print(seen.frame, one, as_json)
                if told := watch.trouble(seen):
                    problem(f"{seen.frame.source}: {told}")
                if seen.frame.still and not seen.labels:
                    unread.append(seen.frame.source)
        except TagkitError as error:
            if len(wanted) == 1:
                raise
            # The other pictures are read all the same.
            problem(str(error))
            trouble = trouble or error
    if ours and not as_json:
        # Among many pictures, the one that can't be read must not go unnoticed.
        for name in unread:
            line(f"{name}: no label of ours was read")
    if told := hint():
        problem(told)
    if trouble is not None:
        raise typer.Exit(trouble.exit_code)
    if not ours:
        if not as_json:
            line("Nothing of ours was read.")
        raise typer.Exit(Exit.NOT_FOUND)


def _print(frame: Frame, one: Read, as_json: bool) -> None:
    if as_json:
        found: dict[str, Any] = {
            "source": frame.source,
            "frame": frame.index,
            "tag": str(one.tag) if one.tag else None,
            "method": one.method,
            "false_match_bound": one.false_match_bound,
            "corners": [[round(x, 1), round(y, 1)] for x, y in one.corners],
        }
        if one.tag is None:
            found["foreign_text"] = one.text
        json_out(found)
        return
    where = frame.source if frame.still else f"{frame.source}, frame {frame.index}"
    if one.tag is None:
        shown = "".join(character if character.isprintable() else " " for character in one.text)
        line(f"{where}: not one of ours: {shown[:80]}")
    else:
        bound = (
            f", recovered (wrong at most {one.false_match_bound:.0e})"
            if one.method == "recovered"
            else ""
        )
        line(f"{where}: {one.tag}, {one.tag.kind.noun}{bound}")
