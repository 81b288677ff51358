"""Commands for the start and the end of a charge."""

from __future__ import annotations

from typing import Annotated

import typer

from tagkit.cli.options import (
    HERE,
    Answer,
    AsJson,
    At,
    By,
    SiteDir,
    Station,
    entry,
    open_site,
)
from tagkit.cli.show import json_out, line

app = typer.Typer(
    help="Log the start and the end of a charge.", no_args_is_help=True, rich_markup_mode=None
)

Temperature = Annotated[
    str | None, typer.Option("--temperature", help="Electrolyte, like “31 °C” or “88 °F”.")
]
Gravity = Annotated[str | None, typer.Option("--sg", help="Specific gravity, 1.280 or 1280.")]

CAUTION = (
    "Cover open, caps in place, ventilation on, no flame. Charger off before any connector is "
    "pulled. The maker's instructions and local codes decide."
)


@app.command("start")
def start(
    battery: Annotated[str, typer.Argument(metavar="BATTERY")],
    charger: Annotated[str, typer.Argument(metavar="CHARGER")],
    temperature: Temperature = None,
    sg: Gravity = None,
    kind: Annotated[
        str, typer.Option("--kind", help="conventional, opportunity, equalize or freshening.")
    ] = "conventional",
    by: By = None,
    at: At = None,
    station: Station = None,
    answer: Answer = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """A battery was put on a charger: checks that they go together, then logs the start."""
    from tagkit.cli.fitting import print_judgement
    from tagkit.jobs.charge import ChargeReadings, ChargeRefused, start_charge

    with open_site(site) as opened:
        try:
            event, _ = start_charge(
                opened,
                battery,
                charger,
                ChargeReadings(temperature, sg),
                **entry(opened, by, station, at),
                charge_kind=kind,
                answer=answer,
            )
        except ChargeRefused as refused:
            print_judgement(refused.judgement, as_json, opened.timezone())
            if not as_json:
                line("Nothing was logged.")
            raise typer.Exit(refused.exit_code) from None
    if as_json:
        json_out({"event": event.id, **{key: event.body[key] for key in ("battery", "charger")}})
    else:
        line(f"{event.body['battery']} is on charge at {event.body['charger']}.")
        line(CAUTION)


@app.command("end")
def end(
    battery: Annotated[str, typer.Argument(metavar="BATTERY")],
    temperature: Temperature = None,
    sg: Gravity = None,
    by: By = None,
    at: At = None,
    station: Station = None,
    answer: Answer = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """The charge of a battery has ended; its rest begins."""
    from tagkit.jobs.charge import ChargeReadings, end_charge

    with open_site(site) as opened:
        event = end_charge(
            opened,
            battery,
            ChargeReadings(temperature, sg),
            **entry(opened, by, station, at),
            answer=answer,
        )
    if as_json:
        json_out({"event": event.id, "battery": event.body["battery"]})
    else:
        line(f"The charge of {event.body['battery']} has ended; let it rest and cool.")
