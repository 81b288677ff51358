"""The command that says how much of a label is left and whether to reprint it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tagkit.cli.options import (
    HERE,
    AsJson,
    At,
    By,
    Force,
    SiteDir,
    Station,
    free_to_write,
    moment,
    open_site,
    station_name,
    who,
)
from tagkit.cli.show import json_out, line, problem
from tagkit.errors import Exit, WrongInput
from tagkit.whole_file import whole_file

if TYPE_CHECKING:
    from tagkit.jobs.condition import LabelCondition
    from tagkit.reader.sources import Frame

STYLES = {
    "not judged": "bold",
    "good": "bold green",
    "reprint soon": "bold yellow",
    "reprint now": "bold red",
}


def condition(
    images: Annotated[
        list[str], typer.Argument(metavar="IMAGE...", help="Pictures, or folders of them.")
    ],
    marked: Annotated[
        Path | None,
        typer.Option("--marked", metavar="OUT.png", help="Draw the damage into the picture."),
    ] = None,
    only_look: Annotated[
        bool, typer.Option("--only-look", help="Keep nothing in the record.")
    ] = False,
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    force: Force = False,
    as_json: AsJson = False,
) -> None:
    """Look how much of each label in the pictures is left: good, reprint soon, reprint now.

    What was found is kept with the asset. Ends with 3 when no label of ours was read.

    Example: tagkit condition photo.jpg
    """
    from tagkit.jobs.condition import conditions_in, keep_conditions, open_pictures
    from tagkit.reader.trouble import camera_trouble

    if marked is not None:
        if marked.suffix.lower() not in (".png", ".jpg", ".jpeg"):
            raise WrongInput(
                f"a picture can't be written as “{marked.suffix}”", "Name a .png file", "--marked"
            )
        free_to_write(marked, force)
    with open_site(site) as opened:
        code = "" if only_look else who(opened.settings, by)
        name = station_name(opened.settings, station)
        when = moment(opened, at)
        frames = open_pictures(images)
        if marked is not None and len(frames) != 1:
            raise WrongInput("--marked is for one picture", "Name one picture", "--marked")
        looked_at: list[tuple[Frame, list[LabelCondition]]] = [
            (frame, conditions_in(opened, frame.picture)) for frame in frames
        ]
        labels = [one for _, found in looked_at for one in found]
        if not only_look:
            keep_conditions(opened, labels, by=code, station=name, at=when)
            for notice in opened.record.notices:
                problem(notice)
    for frame, found in looked_at:
        trouble = None if found else camera_trouble(frame.picture)
        if as_json:
            json_out(
                {
                    "source": frame.source,
                    "labels": [one.to_json() for one in found],
                    "camera_trouble": trouble,
                    "kept": not only_look and any(one.to_keep for one in found),
                }
            )
        else:
            _tell(frame.source, found, trouble)
    if marked is not None and labels:
        _draw(marked, frames[0], labels)
        if not as_json:
            line(f"The damage is marked in {marked}.")
    if not labels:
        raise typer.Exit(Exit.NOT_FOUND)


def _tell(source: str, found: list[LabelCondition], trouble: str | None) -> None:
    if not found:
        line(f"{source}: no label of ours was read. {trouble or ''}".rstrip())
    for one in found:
        measured = one.condition
        line(f"{source}: {one.tag}: {one.grading.verdict}", style=STYLES[one.grading.verdict])
        for reason in one.grading.reasons:
            line(f"  {reason.sentence}.")
        for doubt in one.grading.doubts:
            line(f"  ! {doubt}.")
        if not one.grading.judged:
            continue
        frame = "not in view" if measured.frame is None else f"{measured.frame:.0%} left"
        blocks = ", ".join(f"{part.wrong} of {part.mendable}" for part in measured.blocks)
        line(f"  error correction left  {measured.unused_error_correction:.0%}"
             f" (wrong codewords by block: {blocks})")  # fmt: skip
        line(f"  contrast               {measured.contrast:.0%}")
        line(f"  frame                  {frame}")
        if not one.registered:
            line("  This number is not in the record: nothing was kept.")
        elif not one.to_keep:
            line("  Nothing was kept in the record of this picture.")
        elif one.printed is None:
            line("  The record knows no label of this form; it was judged as it is.")
        if one.grading.verdict != "good" and one.registered:
            line(f"  To reprint it: tagkit labels {one.tag} --out label.pdf")


def _draw(path: Path, frame: Frame, labels: list[LabelCondition]) -> None:
    """The picture with its damage, whole or not at all."""
    import cv2

    from tagkit.reader.marking import marked

    drawn = marked(frame.picture, [(one.condition, one.grading, one.tag) for one in labels])
    _, data = cv2.imencode(path.suffix.lower(), drawn)
    with whole_file(path) as part:
        part.write_bytes(data.tobytes())
