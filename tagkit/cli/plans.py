"""Commands that plan: ventilation, the pool, retirement, and the acid total."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from tagkit.cli.grouped import grouped
from tagkit.cli.options import HERE, AsJson, Force, Language, SiteDir, free_to_write, open_site
from tagkit.cli.show import json_out, line, plural, table
from tagkit.errors import WrongInput
from tagkit.settings import parse_shifts

if TYPE_CHECKING:
    from tagkit.jobs.site import Site
    from tagkit.language.words import Words

Found = TypeVar("Found")

_SHOWN = 12
"""Batteries of a group that the screen names; the files name all."""

app = typer.Typer(
    help="Plan: ventilation, pool of batteries, retirement, acid total.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@dataclass(frozen=True)
class Plan:
    """Whose plan it is, how it is shown, and the file it also goes into."""

    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Also as a file: .pdf, .csv, .xlsx or .json."),
    ] = None
    language: Language = None
    force: Force = False
    site: SiteDir = HERE
    as_json: AsJson = False

    def check(self) -> None:
        """WrongInput unless the file, if one is wanted, can be written."""
        if self.out is not None:
            from tagkit.jobs.report_file import check_report_file

            check_report_file(free_to_write(self.out, self.force))

    def write(
        self, site: Site, found: Found, writing: Callable[[Site, Found, Path, Words], None]
    ) -> None:
        """Writes the file, if one is wanted."""
        if self.out is not None:
            from tagkit.jobs.report_file import words_of

            writing(site, found, self.out, words_of(site, self.language))

    def told(self) -> None:
        """Says, after all that is shown, that the file is there."""
        if self.out is not None:
            line(f"{self.out} is written.")


@app.command("ventilation")
@grouped
def ventilation(
    room: Annotated[
        str | None,
        typer.Option(
            "--room",
            metavar="M3",
            help="Free volume of the room; or with its unit, like “31800 ft³”.",
        ),
    ] = None,
    opening: Annotated[
        str | None,
        typer.Option(
            "--opening",
            metavar="CM2",
            help="The smaller of inlet and outlet; or with its unit, like “1860 in²”.",
        ),
    ] = None,
    *,
    plan: Plan,
) -> None:
    """Air for the charging room, by both practices, all chargers at once, with its derivation.

    Example: tagkit plan ventilation --room 900 --opening 12000
    """
    from tagkit.jobs.figures import area, volume
    from tagkit.jobs.plan_report import write_ventilation
    from tagkit.jobs.room_air import plan_ventilation

    plan.check()
    with open_site(plan.site) as opened:
        found = plan_ventilation(
            opened,
            room_m3=volume(room, "--room") if room else None,
            opening_cm2=area(opening, "--opening") if opening else None,
        )
        plan.write(opened, found, write_ventilation)
    if plan.as_json:
        json_out(found.to_json())
        return
    result = found.result
    bound = "at least " if result.unknown else ""
    if result.m3_per_hour:
        line(f"{bound}{result.m3_per_hour:.0f} m³/h of air.", style="bold")
    else:
        line("How much air is needed can't be told yet.", style="bold")
    for words in result.lines:
        line(words, hang=2)
    natural = {True: "Natural ventilation suffices by these figures.",
               False: "Natural ventilation does not suffice: forced ventilation.",
               None: "Whether natural ventilation suffices can't be told without --room, --opening "
               "and every charger's figures."}  # fmt: skip
    line(natural[result.natural])
    for name, flow in (("European practice", result.europe), ("US practice", result.us)):
        air = f"{bound}{flow.m3_per_hour:.0f} m³/h ({flow.cfm:.0f} cfm)"
        line(f"{name}, {air if flow.m3_per_hour else 'not known'}:", style="bold")
        for words in flow.lines:
            line(f"  {words}", hang=4)
    for words in result.unknown:
        line(f"! not known: {words}", hang=2)
    for words in found.notes:
        line(words)
    plan.told()


@app.command("pool")
@grouped
def pool(
    shifts: Annotated[
        str | None,
        typer.Option("--shifts", help="Hours of the day, like 6-14,14-22,22-30, worked by every "
                     "truck every day; default: as the changes on record tell."),
    ] = None,
    use: Annotated[
        float | None,
        typer.Option("--use", metavar="PCT", min=0.1, max=100, help="Of capacity in an hour of work; "
                     "default: by the record."),
    ] = None,
    days: Annotated[int, typer.Option("--days", min=2, max=366)] = 30,
    price: Annotated[
        float | None, typer.Option("--price", min=0, help="Of a kWh, for the cost.")
    ] = None,
    service: Annotated[
        float, typer.Option("--service", min=50, max=100, help="Service level wanted, %.")
    ] = 99.0,
    least: Annotated[
        bool, typer.Option("--least", help="Also look for the fewest batteries and chargers.")
    ] = False,
    batteries: Annotated[
        list[str] | None,
        typer.Option("--batteries", metavar="KIND=N", help="Another count, like “48 V 775 Ah=12”."),
    ] = None,
    chargers: Annotated[
        list[str] | None, typer.Option("--chargers", metavar="KIND=N", help="Another count.")
    ] = None,
    change_minutes: Annotated[
        float, typer.Option("--change-minutes", min=1, max=240, help="Of a change at its station.")
    ] = 10.0,
    change_stations: Annotated[
        int, typer.Option("--change-stations", min=1, max=50, help="Changes made at once.")
    ] = 1,
    efficiency: Annotated[
        float, typer.Option("--efficiency", min=0.3, max=1, help="Of the chargers: 0.80 conventional, "
                            "0.92 high-frequency.")
    ] = 0.80,
    *,
    plan: Plan,
) -> None:  # fmt: skip
    """Plays the pool through: waiting trucks, busiest hour, energy, peak, the least that serves.

    Examples: tagkit plan pool --least · tagkit plan pool --shifts 6-14,14-22 --least --price 0.21
    """
    from tagkit.jobs.plan_report import write_pool
    from tagkit.jobs.pool_plan import plan_pool

    plan.check()
    with open_site(plan.site) as opened:
        found = plan_pool(
            opened,
            shifts=parse_shifts(shifts, "--shifts") if shifts is not None else None,
            use_percent_per_hour=use,
            days=days,
            price_per_kwh=price,
            service_percent=service,
            seek_least=least,
            batteries=_counts(batteries, "--batteries"),
            chargers=_counts(chargers, "--chargers"),
            change_minutes=change_minutes,
            change_stations=change_stations,
            efficiency=efficiency,
        )
        plan.write(opened, found, write_pool)
    if plan.as_json:
        json_out(found.to_json())
        return
    result = found.result
    line(
        f"{days} days, {result.changes} changes: {result.waited} waited for a battery, these on average "
        f"{result.mean_of_waiting_minutes:.0f} min, longest {result.longest_wait_minutes:.0f} min.",
        style="bold",
    )
    if result.busiest_hour is not None:
        line(f"Busiest hour {result.busiest_hour}:00. Peak {result.peak_kw:.0f} kW at "
             f"{result.peak_hour}:00. Energy {result.energy_kwh:.0f} kWh"
             f"{f', cost {result.cost:.2f}' if result.cost is not None else ''}.")  # fmt: skip
    for group in found.fleet.groups:
        tags = [state.tag for state in found.fleet.batteries[group.kind]]
        shown = ", ".join(tags[:_SHOWN]) + (
            f" and {len(tags) - _SHOWN} more" if len(tags) > _SHOWN else ""
        )
        shares = "" if group.kind == group.name else f", shared with {group.kind}"
        line(
            f"{group.name} ({plural(len(group.trucks), 'truck')}): {shown or 'no battery'}{shares}",
            hang=4,
        )
    table(
        ("batteries", "there", "served in time", "fewest ready", "least needed"),
        [
            (
                one.name,
                str(one.count),
                _percent(result.service_by_kind.get(one.name)),
                str(result.least_ready.get(one.name, "")),
                _need(found.need.batteries.get(one.name)) if found.need else "",
            )
            for one in found.plan.batteries
        ],
    )
    table(
        ("chargers", "there", "in use", "least needed"),
        [
            (
                one.name,
                str(one.count),
                f"{result.charger_use_percent.get(one.name, 0):.0f}%",
                _need(found.need.chargers.get(one.name)) if found.need else "",
            )
            for one in found.plan.chargers
        ],
    )
    line(f"Rule of thumb for continuous work: {found.rule_of_thumb:.1f} batteries per truck.")
    for note in found.notes:
        line(f"Taken as given: {note}.", hang=2)
    plan.told()


@app.command("retirement")
@grouped
def retirement(
    most: Annotated[int, typer.Option("--limit", min=1, help="How many are shown.")] = 15,
    *,
    plan: Plan,
) -> None:
    """Which batteries to retire first, each sign of age with its share.

    Example: tagkit plan retirement --limit 5
    """
    from tagkit.jobs.ageing import plan_retirement
    from tagkit.jobs.plan_report import write_retirement

    plan.check()
    with open_site(plan.site) as opened:
        found = plan_retirement(opened)
        plan.write(opened, found, write_retirement)
    if plan.as_json:
        json_out(found.to_json())
        return
    if not found.places:
        line("No battery is in use.")
        plan.told()
        return
    names = [share.name for share in found.places[0].shares]
    table(
        ("battery", "of 100", *names),
        [
            (
                f"{one.tag}{' (life over)' if one.life_over else ''}",
                "–" if one.score is None else f"{one.score:.0f}",
                *(
                    "not known" if share.points is None
                    else f"{share.points:.0f}/{share.most:.0f} {share.figure}"
                    for share in one.shares
                ),
            )
            for one in found.places[:most]
        ],
    )  # fmt: skip
    for note in found.notes:
        line(note)
    plan.told()


@app.command("acid")
@grouped
def acid(plan: Plan) -> None:
    """Sulphuric acid in the fleet, for hazardous-chemical inventories. Example: tagkit plan acid"""
    from tagkit.jobs.plan_report import write_acid
    from tagkit.jobs.room_air import acid_total

    plan.check()
    with open_site(plan.site) as opened:
        found = acid_total(opened)
        plan.write(opened, found, write_acid)
    if plan.as_json:
        json_out(found.to_json())
        return
    total = found.inventory
    line(f"{total.acid_kg:.0f} kg ({total.acid_lb:.0f} lb) of sulphuric acid in "
         f"{total.electrolyte_kg:.0f} kg of electrolyte, {total.counted} batteries.",
         style="bold")  # fmt: skip
    if total.assumed:
        line(f"{total.assumed} of them by an assumed share of electrolyte (site.toml, [life]).")
    if total.reported:
        line("That is above 500 lb, from which US sites report it (40 CFR part 370).")
    if total.unknown:
        line(f"! not counted, because weight or chemistry is not known: {', '.join(total.unknown)}")
    if found.waiting:
        line(f"Counted as still here, without a receipt: {', '.join(found.waiting)}")
    line("Local rules decide what is reported, and how.")
    plan.told()


def _need(count: int | None) -> str:
    return "out of reach" if count is None else str(count)


def _percent(share: float | None) -> str:
    return "" if share is None else f"{share:.0f}%"


def _counts(given: list[str] | None, where: str) -> dict[str, int]:
    found = {}
    for one in given or []:
        name, equals, count = one.rpartition("=")
        if not equals or not count.strip().isdigit():
            raise WrongInput(f"“{one}” is no kind with a count", "Write KIND=12", where)
        found[name.strip()] = int(count)
    return found
