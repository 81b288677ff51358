"""Commands for charges: start, end, and a charger's own log."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tagkit.cli.named import number_of
from tagkit.cli.options import (
    HERE,
    Answer,
    AsJson,
    At,
    By,
    SiteDir,
    Station,
    entry,
    noted_who,
    open_site,
    station_name,
)
from tagkit.cli.show import json_out, line, plural
from tagkit.errors import Exit, WrongInput

app = typer.Typer(
    help="Log the start and the end of a charge, or take in a charger's log.",
    no_args_is_help=True,
    rich_markup_mode=None,
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
    discharged: Annotated[
        float | None,
        typer.Option("--discharged", metavar="PCT", min=0, max=100, help="By the truck's gauge."),
    ] = None,
    by: By = None,
    at: At = None,
    station: Station = None,
    answer: Answer = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """A battery was put on a charger: checks that they go together, then logs the start.

    Example: tagkit charge start B-QM-00417-D C-QM-00017-B --temperature "31 °C" --sg 1150
    """
    from tagkit.assets.tag import Kind
    from tagkit.cli.fitting import print_judgement, say_others
    from tagkit.jobs.assets import asset, others_at
    from tagkit.jobs.charge import ChargeReadings, ChargeRefused, start_charge
    from tagkit.jobs.charge_flags import flags_of

    with open_site(site) as opened:
        battery = number_of(opened, battery, as_json, Kind.BATTERY, Kind.CHARGER)
        charger = number_of(opened, charger, as_json, Kind.BATTERY, Kind.CHARGER)
        try:
            event, _ = start_charge(
                opened,
                battery,
                charger,
                ChargeReadings(temperature, sg, discharged),
                **entry(opened, by, station, at, notes=False),
                charge_kind=kind,
                answer=answer,
            )
        except ChargeRefused as refused:
            print_judgement(refused.judgement, as_json, opened.timezone())
            if not as_json:
                line("Nothing was logged.")
            raise typer.Exit(refused.exit_code) from None
        place = asset(opened.record, event.body["battery"]).place or {}
        where = str(place.get("name", ""))
        others = others_at(opened.record, where, event.body["battery"])
    flags = flags_of(event)
    if as_json:
        json_out(
            {
                "event": event.id,
                **{key: event.body[key] for key in ("battery", "charger", "discharge")},
                "in_truck": where if place.get("kind") == "truck" else None,
                "others": list(others),
                "flags": [flag.to_json() for flag in flags],
            }
        )
        return
    line(f"{event.body['battery']} is on charge at {where}.")
    say_others(others)
    if told := event.body["discharge"]:
        line(f"The use before took {told['percent']:.0f}% of its capacity, by {told['by']}.")
    for flag in flags:
        line(f"! {flag.sentence}", style="bold", hang=2)
    line(CAUTION)


@app.command("end")
def end(
    battery: Annotated[str, typer.Argument(metavar="BATTERY")],
    temperature: Temperature = None,
    sg: Gravity = None,
    ah: Annotated[
        str | None, typer.Option("--ah", help="What the charger counted, like “612 Ah”.")
    ] = None,
    highest: Annotated[
        str | None, typer.Option("--highest", help="Highest electrolyte temperature on charge.")
    ] = None,
    current_log: Annotated[
        Path | None,
        typer.Option("--current-log", metavar="FILE", help="CSV or XLSX: hours or time, and A."),
    ] = None,
    charged: Annotated[
        bool, typer.Option("--charged", help="It is charged, although the charge was short.")
    ] = False,
    by: By = None,
    at: At = None,
    station: Station = None,
    answer: Answer = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """The charge of a battery has ended; its rest begins.

    Example: tagkit charge end B-QM-00417-D --ah "612 Ah" --temperature "44 °C"
    """
    from tagkit.assets.tag import Kind
    from tagkit.jobs.charge import ChargeReadings, end_charge
    from tagkit.jobs.charge_flags import flags_of
    from tagkit.jobs.current_log import current_log as read_current

    with open_site(site) as opened:
        battery = number_of(opened, battery, as_json, Kind.BATTERY)
        entered = entry(opened, by, station, at)
        event = end_charge(
            opened,
            battery,
            ChargeReadings(temperature, sg),
            **entered,
            current=read_current(current_log) if current_log else (),
            answer=answer,
            ah=ah,
            highest=highest,
            confirmed=charged,
        )
    flags = flags_of(event)
    if as_json:
        json_out(
            {
                "event": event.id,
                "battery": event.body["battery"],
                "counts": event.body["counts"],
                "discharge": event.body["discharge"],
                "flags": [flag.to_json() for flag in flags],
            }
        )
        return
    for flag in flags:
        line(f"! {flag.sentence}", style="bold", hang=2)
    if event.body["counts"]:
        line(f"The charge of {event.body['battery']} has ended; let it rest and cool.")
    else:
        line(
            f"{event.body['battery']} is off charge and counts as not charged. If it is charged, "
            "cancel this entry (tagkit void) and end it with --charged.",
            hang=2,
        )


@app.command("import")
def import_log(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="CSV or XLSX, a row a charge.")],
    column: Annotated[
        list[str] | None,
        typer.Option(
            "--column", metavar="WHAT=HEADING",
            help="battery, charger, started, ended, ah, start_temperature, highest_temperature, "
            "end_temperature or kind; needed once for each kind of file.",
        ),
    ] = None,
    kind_of_file: Annotated[
        str | None, typer.Option("--as", metavar="NAME", help="Name of this kind of file.")
    ] = None,
    temperature_unit: Annotated[
        str | None,
        typer.Option("--temperature-unit", metavar="UNIT", help="°C or °F (or C, F), where the file "
                     "does not say which; kept with the columns."),
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Say what would be done.")] = False,
    keep_good: Annotated[bool, typer.Option("--keep-good", help="Take the good rows.")] = False,
    by: By = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """Take the charges of a charger's log into the record; what is here already stays.

    Example: tagkit charge import row-a.csv --column battery="Batt ID" --column started=Start
    --column ended=Stop --column ah="Ah out" --as row-a
    """
    from tagkit.jobs.charge_import import import_charges

    with open_site(site) as opened:
        taken = import_charges(
            opened,
            file,
            _columns(column),
            kind_of_file,
            temperature_unit=_degrees(temperature_unit),
            by=noted_who(opened, by),
            station=station_name(opened.settings, station),
            dry_run=dry_run,
            keep_good=keep_good,
        )
    if as_json:
        json_out(taken.to_json())
    else:
        verb = "would be logged" if dry_run else "logged"
        line(
            f"{plural(taken.count('logged'), 'charge')} {verb}, {taken.count('completed')} "
            f"completed, {taken.count('here already')} here already, "
            f"{taken.count('refused')} refused."
        )
        for row in taken.rows:
            if row.note:
                line(
                    f"row {row.row}{f' ({row.battery})' if row.battery else ''}: {row.note}", hang=4
                )
        if taken.remembered:
            line(f"Its columns are kept in site.toml, [logs.{taken.kind_of_file}].")
    if taken.count("refused") and not dry_run:
        raise typer.Exit(Exit.PART_TAKEN)


def _degrees(given: str | None) -> str | None:
    """°C or °F, also as C, F, celsius, fahrenheit."""
    known = {"c": "°C", "°c": "°C", "celsius": "°C", "f": "°F", "°f": "°F", "fahrenheit": "°F"}
    return None if given is None else known.get(given.strip().lower(), given)


@app.command("current")
def current(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="CSV or XLSX, a row a sample.")],
    battery: Annotated[
        str | None,
        typer.Option("--battery", metavar="BATTERY", help="Whose charge it is, if no column says."),
    ] = None,
    charger: Annotated[
        str | None, typer.Option("--charger", metavar="CHARGER", help="Where it was charged.")
    ] = None,
    column: Annotated[
        list[str] | None,
        typer.Option(
            "--column", metavar="WHAT=HEADING",
            help="time, current, battery, charger or temperature; needed once for each kind of file.",
        ),
    ] = None,
    kind_of_file: Annotated[
        str | None, typer.Option("--as", metavar="NAME", help="Name of this kind of file.")
    ] = None,
    began: Annotated[
        str | None,
        typer.Option("--began", metavar="TIME", help="When it began, for a log that counts hours; "
                     "else the latest charge is meant."),
    ] = None,
    kind: Annotated[
        str, typer.Option("--kind", help="Of a charge that the record does not have.")
    ] = "conventional",
    time_unit: Annotated[
        str | None,
        typer.Option("--time-unit", metavar="UNIT", help="hours, minutes or seconds since the start."),
    ] = None,
    temperature_unit: Annotated[
        str | None,
        typer.Option("--temperature-unit", metavar="UNIT", help="°C or °F (or C, F)."),
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Say what would be done.")] = False,
    by: By = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """Take the current of a charge, sample by sample, from a charger's log into the record.

    Example: tagkit charge current sunday.csv --battery B-QM-00417-D --column time=Elapsed
    --column current="I (A)" --as row-a-current
    """
    from tagkit.jobs.current_log import import_current
    from tagkit.jobs.log_file import moment_in

    with open_site(site) as opened:
        taken = import_current(
            opened,
            file,
            _columns(column),
            kind_of_file,
            battery=battery,
            charger=charger,
            began=moment_in(opened, began, "--began") if began else None,
            charge_kind=kind,
            time_unit=time_unit,
            temperature_unit=_degrees(temperature_unit),
            by=noted_who(opened, by),
            station=station_name(opened.settings, station),
            dry_run=dry_run,
        )
        zone = opened.timezone()
    if as_json:
        json_out(taken.to_json())
        return
    for one in taken.charges:
        outcome = _OUTCOMES[one.outcome]
        line(
            f"{one.battery}: {one.ah:.1f} Ah in {plural(one.count, 'sample')}, "
            f"{one.started.astimezone(zone):%Y-%m-%d %H:%M} to "
            f"{one.ended.astimezone(zone):%Y-%m-%d %H:%M}: {outcome}.",
            hang=4,
        )
        for note in one.notes:
            line(f"! {note}", hang=4)
    if dry_run:
        line("Nothing was logged: this was a look (--dry-run).")
    if taken.remembered:
        line(f"Its columns are kept in site.toml, [current_logs.{taken.kind_of_file}].")


_OUTCOMES = {
    "logged": "a new charge", "completed": "completes the charge that was scanned",
    "ended": "ends the charge that is under way", "here already": "here already",
}  # fmt: skip


def _columns(given: list[str] | None) -> dict[str, str]:
    """WHAT=HEADING, each once."""
    columns = {}
    for one in given or []:
        what, equals, heading = one.partition("=")
        if not equals:
            raise WrongInput(f"“{one}” has no =", "Write WHAT=HEADING", "--column")
        columns[what.strip().lower().replace("-", "_")] = " ".join(heading.split())
    return columns
