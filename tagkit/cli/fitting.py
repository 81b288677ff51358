"""Commands of the change: fit, swap, undo, seen."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo
from typing import TYPE_CHECKING, Annotated

import typer

from tagkit.cli.named import number_of, place_of
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
from tagkit.cli.show import clock_time, json_out, line
from tagkit.errors import Exit

if TYPE_CHECKING:
    from tagkit.jobs.fit import Judgement

_WORDS = {"fit": "fits", "no_fit": "NO FIT", "not_confirmed": "NOT CONFIRMED"}
_STYLES = {"fit": "", "no_fit": "bold red", "not_confirmed": "bold yellow"}


def fit(
    battery: Annotated[str, typer.Argument(metavar="BATTERY", help="Number of a battery.")],
    other: Annotated[
        str, typer.Argument(metavar="OTHER", help="Number of a truck, charger or lifting gear.")
    ],
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Does this battery go into this truck, onto this charger, under this lifting gear?

    Either order. Ends with 0 only for fit and ready; 10 no fit, 11 not confirmed, 12 not ready.

    Example: tagkit fit B-QM-00417-D T-QM-00019-J
    """
    from tagkit.jobs.fit import judge

    with open_site(site) as opened:
        first, second = (number_of(opened, words, as_json) for words in (battery, other))
        judgement = judge(opened, first, second)
        print_judgement(judgement, as_json, opened.timezone())
    raise typer.Exit(judgement.exit_code())


def print_judgement(judgement: Judgement, as_json: bool, zone: tzinfo | None) -> None:
    """The answer first, then the lines it rests on, then what to do."""
    if as_json:
        json_out(judgement.to_json())
        return
    style = "bold white on dark_green" if judgement.go else "bold white on red"
    line(f" {judgement.headline()} ", style=style)
    line(f"battery {judgement.battery.tag}, {_kind(judgement)} {judgement.other.tag}")
    for check in judgement.verdict.checks:
        line(
            f"  {check.name:<16} {_WORDS[check.result]:<14} {_figures(check)}".rstrip(),
            _STYLES[check.result],
            hang=34,
        )
        if check.note:
            line(f"  {'':<16} {'':<14} {check.note}", hang=34)
    for reason in judgement.readiness.reasons:
        line(f"  not ready        {reason.sentence}", style="bold yellow", hang=19)
    for reason in judgement.readiness.lifted:
        line(f"  released         although {reason.sentence}", hang=19)
    for caution in judgement.readiness.cautions:
        line(f"  caution          {caution.sentence}", hang=19)
    if judgement.readiness.ready_at and not judgement.readiness.ready:
        line(f"  ready about      {clock_time(judgement.readiness.ready_at, zone)}")
    if judgement.balance:
        line(f"  {judgement.balance}", hang=2)
    line(_what_to_do(judgement))


def _kind(judgement: Judgement) -> str:
    from tagkit.assets.tag import Kind

    return Kind(judgement.other.kind).noun


def _figures(check: object) -> str:
    required, found = getattr(check, "required", None), getattr(check, "found", None)
    margin, source = getattr(check, "margin", None), getattr(check, "source", "")
    parts = []
    if required:
        parts.append(f"needs {required}")
    if found:
        parts.append(f"has {found}")
    # What is beyond a limit, and by how much, the note says.
    if margin is not None and not str(margin).startswith("-"):
        parts.append(f"margin {margin}")
    text = ", ".join(parts)
    return f"{text} ({source})" if source else text


_GO_BY = {
    "T": "brake set, key off, rated lifting gear or rollers only.",
    "C": "charger off before it is connected, cover open, ventilation on, no flame.",
    "L": "hooks in the lugs, an even lift, nobody under or beside the load.",
}
_TAKE = {"T": "another battery", "C": "another charger", "L": "other lifting gear"}


def _what_to_do(judgement: Judgement) -> str:
    kind = judgement.other.kind
    if judgement.go:
        return f"Go by the maker's instructions: {_GO_BY[kind]}"
    if judgement.verdict.result == "no_fit":
        return (
            f"STOP. Take {_TAKE[kind]}. Wrong figures are amended away from the "
            "station, by two people."
        )
    if judgement.verdict.result == "not_confirmed":
        return (
            "STOP. Find out what is not known (stamp, nameplate), enter it (“tagkit marry”, or by "
            "two people “tagkit amend”), and check again."
        )
    gone = next((one for one in (judgement.battery, judgement.other) if one.retired_at), None)
    if gone is not None:
        return (
            f"STOP. {gone.tag} has left the fleet: take another. If it was retired by mistake, two "
            f"people take that back: tagkit history {gone.tag} --ids, then tagkit void."
        )
    if judgement.battery.safety_held or judgement.other.safety_held:
        return "STOP. It is held for safety: only an inspection lifts that. Take another."
    if judgement.battery.held or judgement.other.held:
        held = judgement.battery if judgement.battery.held else judgement.other
        return f"STOP. {held.tag} is held: leave it, see its out-of-service card, and take another."
    if kind == "C":
        return "STOP. Leave it off the charger until that has passed, then check again."
    return (
        "STOP. Take another battery; charge this one, or enter its charge if it was forgotten; "
        "or let a supervisor release it with a reason."
    )


def swap(
    truck: Annotated[str, typer.Argument(metavar="TRUCK", help="Number of the truck.")],
    battery: Annotated[str, typer.Argument(metavar="BATTERY", help="The battery that goes in.")],
    out: Annotated[
        str | None, typer.Option("--out", metavar="BATTERY", help="The battery that came out; the "
                                 "record knows it.")
    ] = None,
    charger: Annotated[
        str | None, typer.Option("--charger", metavar="CHARGER", help="Where the one taken out goes.")
    ] = None,
    discharged: Annotated[
        float | None,
        typer.Option("--discharged", metavar="PCT", min=0, max=100, help="Of the one taken out, %."),
    ] = None,
    hours: Annotated[
        float | None, typer.Option("--hours", metavar="H", min=0, help="The truck's hour meter.")
    ] = None,
    by: By = None,
    at: At = None,
    station: Station = None,
    answer: Answer = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """Change the battery of a truck: checks first, and logs only a fit that is ready.

    Truck and battery in either order, by the numbers on their labels; a fleet number or a maker's
    serial that only one bears is taken too, and said. A recorded contradiction is asked about
    (exit 13).

    Example: tagkit swap T-QM-00019-J B-QM-00417-D --charger C-QM-00017-B --by KM
    """
    from tagkit.assets.tag import Kind
    from tagkit.jobs.change import ChangeRefused, Wanted, log_change

    with open_site(site) as opened:

        def number(words: str | None, *kinds: Kind) -> str | None:
            return None if words is None else number_of(opened, words, as_json, *kinds)

        wanted = Wanted(
            truck=number_of(opened, truck, as_json, Kind.TRUCK, Kind.BATTERY),
            battery_in=number_of(opened, battery, as_json, Kind.TRUCK, Kind.BATTERY),
            battery_out=number(out, Kind.BATTERY),
            charger=number(charger, Kind.CHARGER),
            discharged_percent=discharged,
            hours=hours,
            answer=answer,
        )
        try:
            logged = log_change(
                opened,
                wanted,
                **entry(opened, by, station, at, in_person=True, notes=False),
            )
        except ChangeRefused as refused:
            print_judgement(refused.judgement, as_json, opened.timezone())
            if not as_json:
                line("The change was not logged.", style="bold")
            raise typer.Exit(refused.exit_code) from None
    if as_json:
        json_out(logged.to_json())
        return
    body = logged.event.body
    line(f"Logged: {body['battery_in']} is in {body['truck']}.", style="bold")
    if body["battery_out"]:
        to = (body["out_to"] or {}).get("name")
        line(f"{body['battery_out']} came out{' and goes to ' + to if to else ''}.")
    for note in logged.notes:
        line(f"! {note}.", hang=2)
    if logged.warning:
        line(f"! {logged.warning}.", hang=2)
    line("Finish: battery seated, retainer or gate back, cable free, connected, truck works.")


def say_others(others: Sequence[str]) -> None:
    """Where the record has other batteries in the same truck or at the same charger."""
    if others:
        line(
            f"By the record {', '.join(others)} {'is' if len(others) == 1 else 'are'} there too: "
            "record where else with “tagkit seen”."
        )


def undo(
    by: By = None,
    at: At = None,
    station: Station = None,
    reason: Annotated[str, typer.Option("--reason", help="Why.")] = "undone at the station",
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Cancel the last change logged at this station. It stays in the record, marked as cancelled."""
    from tagkit.jobs.change import undo_last

    with open_site(site) as opened:
        done = undo_last(
            opened,
            reason,
            **entry(opened, by, station, at),
        )
    if as_json:
        json_out({"event": done.event.id, "cancelled": done.cancelled.id, **done.cancelled.body})
    else:
        body = done.cancelled.body
        line(f"Cancelled: {body['battery_in']} into {body['truck']}. The record is as before it.")


def seen(
    battery: Annotated[str, typer.Argument(metavar="BATTERY")],
    place: Annotated[
        str, typer.Argument(metavar="PLACE", help="Number of a truck or charger, or words.")
    ],
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """A battery was found somewhere: recorded as it is, even where it should not be.

    In a truck that it does not fit, the truck is held and this ends with 10; one that is held and
    was found in a truck ends with 12.

    Example: tagkit seen B-QM-00417-D "stand 4" --by KM
    """
    from tagkit.assets.tag import Kind
    from tagkit.jobs.seen import log_seen

    with open_site(site) as opened:
        found = log_seen(
            opened,
            number_of(opened, battery, as_json, Kind.BATTERY),
            place_of(opened, place, as_json),
            **entry(opened, by, station, at),
        )
        if as_json:
            json_out(found.to_json())
        else:
            if found.judgement and (found.held or not found.judgement.verdict.fits):
                line(" ALARM ", style="bold white on red")
                print_judgement(found.judgement, False, opened.timezone())
            line(f"Recorded: {found.battery} seen at {found.place}.")
            say_others(found.others)
            if found.held:
                line(
                    f"{found.held} is held. Do not drive it; take the battery out.",
                    style="bold red",
                )
            elif found.judgement and _in_use_though_held(found.judgement):
                reasons = "; ".join(hold["reason"] for hold in found.judgement.battery.holds)
                line(
                    f"STOP. {found.battery} is held: {reasons}. Do not drive {found.place}; take "
                    "the battery out.",
                    style="bold red",
                )
    judged = found.judgement
    if judged and (found.held or not judged.verdict.fits or _in_use_though_held(judged)):
        raise typer.Exit(judged.exit_code())
    raise typer.Exit(Exit.DONE)


def _in_use_though_held(judgement: Judgement) -> bool:
    """Whether a battery that is held was found in a truck."""
    return judgement.other.kind == "T" and bool(judgement.battery.holds)
