"""The command that records water."""

from __future__ import annotations

from typing import Annotated

import typer

from tagkit.cli.named import number_of
from tagkit.cli.options import HERE, AsJson, At, By, SiteDir, Station, entry, open_site
from tagkit.cli.show import clock_time, json_out, line
from tagkit.errors import WrongInput


def water(
    battery: Annotated[str, typer.Argument(metavar="BATTERY")],
    litres: Annotated[
        str | None, typer.Option("--litres", help="For the whole battery: 4.5, 900 ml, 1 gal.")
    ] = None,
    cell: Annotated[
        list[str] | None,
        typer.Option("--cell", metavar="N=LITRES", help="Cell by cell; may be repeated."),
    ] = None,
    before: Annotated[
        str | None, typer.Option("--before", help="Level found: bare, low, at mark or over.")
    ] = None,
    after: Annotated[str | None, typer.Option("--after", help="Level left.")] = None,
    quality: Annotated[
        str | None, typer.Option("--quality", help="deionised, distilled, or a conductivity.")
    ] = None,
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """A battery was topped up with water; says what its thirst tells and when it is due again.

    Example: tagkit water B-QM-00417-D --litres 4.5 --before low --after "at mark"
    """
    from tagkit.assets.tag import Kind
    from tagkit.jobs.watering import CAUTION
    from tagkit.jobs.watering import water as log_water

    by_cell = {}
    for given in cell or []:
        number, equals, amount = given.partition("=")
        if not equals or not number.strip().isdigit():
            raise WrongInput(f"“{given}” is no cell with its litres", "Write 7=0.4", "--cell")
        by_cell[int(number)] = amount
    with open_site(site) as opened:
        battery = number_of(opened, battery, as_json, Kind.BATTERY)
        told = log_water(
            opened,
            battery,
            litres=litres,
            by_cell=by_cell,
            before=before,
            after=after,
            quality=quality,
            **entry(opened, by, station, at),
        )
        zone = opened.timezone()
    if as_json:
        json_out(told.to_json())
        return
    amount = f" with {told.litres:g} l" if told.litres is not None else ""
    line(f"{told.battery} is watered{amount}.")
    if told.overcharge_ah is not None:
        line(f"That is {told.overcharge_ah:.0f} Ah of overcharge since the last watering at most.")
    if told.sisters.ratio is not None:
        line(f"It drinks {told.sisters.ratio:.1f} times as much as its sisters.")
    if told.due.at:
        line(f"Next about {clock_time(told.due.at, zone)}.")
    for flag in told.flags:
        line(f"! {flag.sentence}", style="bold", hang=2)
    line(CAUTION)
