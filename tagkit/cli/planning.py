"""Commands for planning labels: how far away they are read, what a template looks like."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tagkit.cli.options import HERE, AsJson, Force, SiteDir, free_to_write
from tagkit.cli.show import json_out, line, plural
from tagkit.errors import NotFound, WrongInput


def distance(
    module: Annotated[
        str | None, typer.Option("--module", help="One module: 1.0 (mm), “0.04 in”.")
    ] = None,
    symbol: Annotated[
        str | None, typer.Option("--symbol", help="Side of the symbol without its quiet zone.")
    ] = None,
    label: Annotated[
        str | None, typer.Option("--label", help="Side of the square that the frame goes into.")
    ] = None,
    template: Annotated[
        str | None, typer.Option("--template", metavar="NAME", help="A template, with its camera.")
    ] = None,
    from_there: Annotated[
        str | None, typer.Option("--distance", help="From where it is to be read: 800, “2 ft”.")
    ] = None,
    camera: Annotated[
        int | None, typer.Option("--camera", help="Width of the picture in pixels (1920).")
    ] = None,
    camera_height: Annotated[
        int | None, typer.Option("--camera-height", help="Its height (9/16 of the width).")
    ] = None,
    angle: Annotated[
        float | None, typer.Option("--angle", help="Horizontal angle of view, degrees (60).")
    ] = None,
    pixels: Annotated[
        float | None, typer.Option("--pixels", help="Pixels a module that reading needs (2.0).")
    ] = None,
    version: Annotated[
        int | None,
        typer.Option("--version", help="Of the symbol: 2 holds a bare number, 4 a link (2)."),
    ] = None,
    dpi: Annotated[int | None, typer.Option("--dpi", help="Printer, for whole dots.")] = None,
    speed: Annotated[
        str | None, typer.Option("--speed", help="Motion across the view: “0.5 m/s”, “3 mph”.")
    ] = None,
    exposure: Annotated[
        str | None, typer.Option("--exposure", help="Of the camera: 10 (ms) or 1/100 (s).")
    ] = None,
    units: Annotated[
        str | None, typer.Option("--units", help="metric or us; default: the site's.")
    ] = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """From how far a symbol is read, or how large it must be; give one, get the other.

    Examples: tagkit distance --module 1.0 --camera 1280 --angle 60 · tagkit distance --distance
    "0.8 m" --dpi 300 · tagkit distance --template battery-side --speed "0.5 m/s" --exposure 1/200
    """
    from tagkit.jobs.distance import Asked, plan_distance

    us = _us(units, site)
    answer = plan_distance(
        Asked(module, symbol, label, template, from_there, camera, camera_height, angle, pixels,
              version, dpi, speed, exposure)
    )  # fmt: skip
    if as_json:
        json_out(answer.to_json(us))
        return
    found = answer.to_json(us)
    for name in ("nearest", "farthest"):
        found[name] = f"{found[name]['value']:g} {found[name]['unit']}"
    if answer.plan.readable:
        line(f"Readable from {found['nearest']} to {found['farthest']}.", style="bold")
    else:
        line("Not readable like this.", style="bold")
        for remedy in answer.remedies(us):
            line(f"{remedy[0].upper()}{remedy[1:]}.", hang=2)
    for step in found["derivation"]:
        line(f"  {step}", hang=4)
    line("Straight in front, tilt up to 20°, label clean, picture sharp; try it in your own light.")


def preview(
    out: Annotated[Path, typer.Option("--out", metavar="FILE.png", help="The picture.")],
    template: Annotated[
        str, typer.Option("--template", metavar="NAME", help="A template's name, or a .toml.")
    ],
    language: Annotated[
        str | None, typer.Option("--language", help="en, es or en+es; default: the first it has.")
    ] = None,
    link: Annotated[
        bool, typer.Option("--link", help="With a link in the symbol, not a bare number.")
    ] = False,
    dpi: Annotated[int, typer.Option("--dpi", help="Size of the picture.")] = 150,
    force: Force = False,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Show a template with samples of every kind it is for. A sample is no label: it says so.

    Example: tagkit preview --template battery-side --out look.png
    """
    from tagkit.jobs.preview import draw_preview

    if out.suffix.lower() != ".png":
        raise WrongInput(f"a preview can't be written as “{out.suffix}”", "Name a .png", str(out))
    free_to_write(out, force)
    drawn = draw_preview(template, out, language or _language(site), link, dpi)
    if as_json:
        json_out(drawn.to_json())
        return
    line(f"{out}: template {drawn.template}, {plural(drawn.samples, 'sample')}, {drawn.language}; marked as "
         "samples, and no number on it is ever issued.")  # fmt: skip


def _us(units: str | None, site: Path) -> bool:
    if units not in (None, "metric", "us"):
        raise WrongInput(f"“{units}” is not a system of units", "Write metric or us", "--units")
    if units is None:
        from tagkit.jobs.site import read_settings

        try:
            units = read_settings(site).site.units
        except NotFound:
            units = "metric"
    return units == "us"


def _language(site: Path) -> str | None:
    from tagkit.jobs.site import read_settings

    try:
        settings = read_settings(site)
    except NotFound:
        return None
    return settings.labels.language or settings.site.language
