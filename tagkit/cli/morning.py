"""Commands for the day: which battery next, and the morning list."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tagkit.cli.named import number_of
from tagkit.cli.options import HERE, AsJson, Force, SiteDir, free_to_write, open_site
from tagkit.cli.show import clock_time, json_out, line, plural, table
from tagkit.errors import Exit

if TYPE_CHECKING:
    from tagkit.jobs.telling import Telling


def next_battery(
    truck: Annotated[
        str, typer.Argument(metavar="TRUCK", help="Number of the truck, or its fleet number.")
    ],
    everyone: Annotated[
        bool, typer.Option("--all", help="Judge every battery of its voltage one by one.")
    ] = False,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Which battery goes in next, why, and why each other one was passed over.

    Of those that fit, are ready and not held, the one rested longest. Ends with 12 when there
    is none. Example: tagkit next T-QM-00019-J
    """
    from tagkit.assets.tag import Kind
    from tagkit.jobs.rotation import next_for

    with open_site(site) as opened:
        number = number_of(opened, truck, as_json, Kind.TRUCK)
        found = next_for(opened, number, everyone=everyone)
    if as_json:
        json_out(found.to_json())
    else:
        named = f" ({found.known_as})" if found.known_as else ""
        if found.truck_against:
            line(f"{found.truck}{named} may not be used: {'; '.join(found.truck_against)}.",
                 style="bold")  # fmt: skip
        elif found.next:
            first = found.places[0]
            line(f"{found.next} goes into {found.truck}{named}: {first.why}.", style="bold")
        else:
            line(f"No battery is ready for {found.truck}{named}.", style="bold")
        table(
            ("place", "battery", "why", "ready"),
            [
                (
                    str(place.place) if place.place else "–",
                    place.tag,
                    place.why,
                    f"{place.ready_at:%a %H:%M}" if place.ready_at and not place.place else "",
                )
                for place in found.places
            ],
        )
        for one in found.passed:
            line(f"{plural(one.count, 'more battery').replace('batterys', 'batteries')}: {one.why}")
        line("Check the fit at the truck before a tonne is moved; the nameplates decide.")
    if found.next is None:
        raise typer.Exit(Exit.NOT_READY)


def today(
    ical: Annotated[
        Path | None,
        typer.Option("--ical", metavar="FILE", help="Also write the due dates as iCalendar."),
    ] = None,
    force: Force = False,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """The morning list: flags by severity, what is overdue and due, what changed since yesterday.

    Example: tagkit today --ical due.ics --force
    """
    from tagkit.jobs.today import today as todays

    if ical is not None:
        free_to_write(ical, force)
    with open_site(site) as opened:
        found = todays(opened)
        entries = None
        if ical is not None:
            from tagkit.jobs.calendar import write_calendar

            entries = write_calendar(opened, ical)
        zone = opened.timezone()
    if as_json:
        json_out({**found.to_json(), "ical": str(ical) if ical else None})
        return
    line(f"{clock_time(found.at, zone)}", style="bold")
    standing = ", ".join(f"{count} {words}" for words, count in sorted(found.standing.items()))
    line(f"Batteries: {standing or 'none yet'}.", hang=2)
    _flags(found.flags, found.counts)
    _dues(found.dues, zone)
    for person in found.people:
        verb = "ran out" if person.ran_out else "runs out"
        line(f"! the authorisation of {person.person} ({person.role}) {verb} on {person.until}")
    line()
    line(f"Since {clock_time(found.since, zone)}:", style="bold")
    done = ", ".join(
        f"{count} {_ONE.get(words, words) if count == 1 else words}"
        for words, count in found.done.items()
    )
    line(f"  {done or 'nothing was recorded'}", hang=2)
    for one in found.happened:
        line(f"  {clock_time(one.at, zone)}  {one.by} {one.words}", hang=4)
    if entries is not None:
        line(f"{ical}: {plural(entries, 'date')}.")


_ONE = {
    "changes": "change",
    "charges begun": "charge begun",
    "charges ended": "charge ended",
    "waterings": "watering",
    "rounds": "round",
    "cleanings": "cleaning",
    "batteries seen": "battery seen",
    "leakage tests": "leakage test",
    "steps confirmed": "list of steps confirmed",
}
"""What the morning list counts, where there is one of it."""


def _flags(flags: tuple[Telling, ...], counts: Any) -> None:
    line()
    if not flags:
        line("Nothing is flagged.")
        return
    line("Flagged, the gravest first:", style="bold")
    for one in flags:
        line(f"  {one.severity:<5} {one.tag}  {one.sentence}", hang=8)
    from tagkit.jobs.telling import DUES

    more = sum(number for _, code, number in counts if code not in DUES) - len(flags)
    if more > 0:
        line(f"  and {more} more (tagkit today --json counts them)")


def _dues(dues: tuple[Telling, ...], zone: Any) -> None:
    line()
    if not dues:
        line("Nothing is due.")
        return
    by_state: dict[str, dict[str, list[Telling]]] = {}
    for one in dues:
        by_state.setdefault(one.state or "due", {}).setdefault(
            one.sentence.split(":")[0], []
        ).append(one)
    for state, works in by_state.items():
        line(f"{state.capitalize()}:", style="bold")
        for words, ones in works.items():
            shown = ", ".join(one.tag for one in ones[:6])
            more = f" and {len(ones) - 6} more" if len(ones) > 6 else ""
            oldest = f", since {clock_time(ones[0].at, zone)[:14]}" if state == "overdue" else ""
            line(f"  {words} ({len(ones)}{oldest}): {shown}{more}", hang=4)
