"""Commands for tests, repairs, inspections, washing and checks of equipment."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from tagkit.cli.hold_cards import (
    CardFile,
    NoCard,
    check_card_options,
    end_with_card,
    print_hold_card,
    say_card,
)
from tagkit.cli.named import number_of
from tagkit.cli.options import (
    HERE,
    AsJson,
    At,
    By,
    Force,
    Number,
    SiteDir,
    Station,
    entry,
    open_site,
)
from tagkit.cli.show import clock_time, json_out, label_note, line, table

if TYPE_CHECKING:
    from tagkit.jobs.site import Site
    from tagkit.rules.flags import Flag

Battery = Annotated[str, typer.Argument(metavar="BATTERY")]
Settles = Annotated[
    list[str] | None,
    typer.Option("--settles", metavar="ID", help="To-dos that this does; “all” for all."),
]
NextDue = Annotated[
    str | None,
    typer.Option("--next-due", metavar="DATE", help="Lifting gear that passed: the date of its next "
                 "examination, YYYY-MM-DD; default: by the site's schedule."),
]  # fmt: skip

tests = typer.Typer(
    help="Test a battery: its capacity, or leakage from case to post.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@tests.command("capacity")
def capacity(
    battery: Battery,
    current: Annotated[str, typer.Option("--current", help="The steady current, like “167 A”.")],
    minutes: Annotated[float, typer.Option("--minutes", help="Down to the cut-off voltage.")],
    temperature: Annotated[
        str | None, typer.Option("--temperature", help="Mean of the electrolyte, like “27 °C”.")
    ] = None,
    cut_off: Annotated[str | None, typer.Option("--cut-off", help="Like “30.6 V”.")] = None,
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """A discharge test at the battery's own rate. Below 80 % of rated its life is over.

    Example: tagkit test capacity B-QM-00417-D --current "167 A" --minutes 311 --temperature "27 °C"
    """
    from tagkit.assets.tag import Kind
    from tagkit.jobs.testing import CAPACITY_CAUTION, capacity_test

    with open_site(site) as opened:
        battery = number_of(opened, battery, as_json, Kind.BATTERY)
        done = capacity_test(
            opened,
            battery,
            current=current,
            minutes=minutes,
            temperature=temperature,
            cut_off=cut_off,
            **entry(opened, by, station, at),
        )
    if as_json:
        json_out(done.to_json())
        return
    if done.result.percent is None:
        line(f"Recorded, without a result: {done.result.reason}.")
    else:
        over = ": its life is over, plan its retirement" if done.result.life_over else ""
        line(
            f"{done.battery} has {done.result.percent:.0f}% of its rated capacity{over}.",
            style="bold",
        )
    line(CAPACITY_CAUTION)


@tests.command("leakage")
def leakage(
    battery: Battery,
    ohm: Annotated[str, typer.Option("--ohm", help="The smaller one, case to either post.")],
    card: CardFile = None,
    no_card: NoCard = False,
    force: Force = False,
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Resistance from the case to the posts. A battery whose case leaks is not ready until a
    later test passes; one that can shock is held for safety too.

    Example: tagkit test leakage B-QM-00417-D --ohm "4.2 kohm"
    """
    from tagkit.assets.tag import Kind
    from tagkit.jobs.testing import LEAKAGE_CAUTION, UNTIL_IT_PASSES, leakage_test

    with open_site(site) as opened:
        battery = number_of(opened, battery, as_json, Kind.BATTERY)
        check_card_options(opened, card, no_card, force)
        done = leakage_test(opened, battery, ohm, **entry(opened, by, station, at))
        leaking = _leaks(opened, done.battery)
        held = done.battery if done.held else None
        printed = print_hold_card(opened, held, card, no_card, as_json)
    if as_json:
        json_out({**done.to_json(), "card": printed.to_json() if printed else None})
        end_with_card(printed, card is not None)
        return
    required = done.result.required_ohm
    if done.result.passes is None:
        line(f"Recorded, not judged: {done.result.reason}.")
    elif done.result.passes:
        line(f"{done.battery} passes: at least {required:.0f} ohm were required.")
    elif done.result.flag:
        line(f"! {done.result.flag.sentence}", style="bold")
    if done.held:
        line(f"{done.battery} is held for safety.", style="bold")
    if leaking:
        line(UNTIL_IT_PASSES, style="bold")
    say_card(bool(done.held), printed)
    line(LEAKAGE_CAUTION)
    end_with_card(printed, card is not None)


def _leaks(opened: Site, battery: str) -> Flag | None:
    """What its last leakage test says against it."""
    from tagkit.jobs.readiness import leaks

    state = opened.record.state(battery)
    return leaks(state, opened.settings) if state is not None else None


def repair(
    battery: Battery,
    sort: Annotated[
        str,
        typer.Argument(
            metavar="SORT", help="“cell replaced”, “cell jumpered”, connectors, cables, "
            "“acid adjusted”, reweighed or other.",
        ),
    ],
    cell: Annotated[
        list[int] | None, typer.Option("--cell", metavar="N", help="Counted from the positive post.")
    ] = None,
    what: Annotated[str | None, typer.Option("--what", help="In a few words.")] = None,
    weight: Annotated[str | None, typer.Option("--weight", help="reweighed: “1186 kg”.")] = None,
    scale_error: Annotated[str | None, typer.Option("--scale-error", help="Like “2 kg”.")] = None,
    connector: Annotated[str | None, typer.Option("--connector", help="As read off it now.")] = None,
    cable_side: Annotated[str | None, typer.Option("--cable-side", help="left, right …")] = None,
    cable_length: Annotated[str | None, typer.Option("--cable-length", help="“1200 mm”.")] = None,
    settles: Settles = None,
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """A battery was repaired: new baselines for its cells, and the figures the verdicts use.

    Example: tagkit repair B-QM-00417-D "cell replaced" --cell 11 --by JT
    """
    from tagkit.assets.tag import Kind
    from tagkit.jobs.assets import asset
    from tagkit.jobs.label_behind import label_says
    from tagkit.jobs.repairing import CAUTION
    from tagkit.jobs.repairing import repair as log_repaired

    given = {
        "weighed": weight, "scale_error": scale_error, "connector": connector,
        "cable_side": cable_side, "cable_length": cable_length,
    }  # fmt: skip
    with open_site(site) as opened:
        battery = number_of(opened, battery, as_json, Kind.BATTERY)
        done = log_repaired(
            opened,
            battery,
            sort.strip().lower().replace("-", " "),
            cells=cell or (),
            what=what,
            marks={name: text for name, text in given.items() if text is not None},
            settles=settles or (),
            **entry(opened, by, station, at),
        )
        says = label_says(asset(opened.record, done.battery))
    if as_json:
        json_out({**done.to_json(), "label_says": list(says)})
        return
    cells = f", cell {', '.join(map(str, done.event.body['cells']))}" if cell else ""
    line(f"Recorded: {done.battery}, {done.event.body['sort']}{cells}.", style="bold")
    for note in done.notes:
        line(note)
    label_note(done.battery, says)
    line(CAUTION)


def inspect(
    tag: Number,
    sort: Annotated[
        str, typer.Option("--sort", help="arrival, periodic, change, hold, equipment, serial (the "
                     "stamped serial was compared with the label) or other.")
    ] = "periodic",
    finding: Annotated[
        list[str] | None, typer.Option("--finding", help="What was found; may be repeated.")
    ] = None,
    hold: Annotated[
        str | None, typer.Option("--hold", metavar="KIND", help="safety or ordinary: hold it for that.")
    ] = None,
    todo: Annotated[
        list[str] | None, typer.Option("--todo", help="What is to be done; default: each finding.")
    ] = None,
    lift: Annotated[
        bool, typer.Option("--lift", help="It passed: lift its holds. A supervisor does it.")
    ] = False,
    failed: Annotated[bool, typer.Option("--failed", help="It did not pass.")] = False,
    passed: Annotated[
        bool, typer.Option("--passed", help="It passed, for all that was found.")
    ] = False,
    next_due: NextDue = None,
    settles: Settles = None,
    card: CardFile = None,
    no_card: NoCard = False,
    force: Force = False,
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """An inspection: of a new delivery, of a battery in use, of a charger, of what is held.

    Each finding holds it or becomes a to-do. Example: tagkit inspect B-QM-00417-D
    --finding "case cracked at the lower weld" --hold safety --card card.pdf
    """
    from tagkit.jobs.inspecting import inspect as log_inspected

    with open_site(site) as opened:
        tag = number_of(opened, tag, as_json)
        check_card_options(opened, card, no_card, force)
        done = log_inspected(
            opened,
            tag,
            sort=sort,
            findings=finding or (),
            hold=hold,
            todo=todo or (),
            settles=settles or (),
            lift=lift,
            passed=False if failed else True if passed else None,
            next_due=next_due,
            **entry(opened, by, station, at),
        )
        held = done.asset if done.held else None
        printed = print_hold_card(opened, held, card, no_card, as_json)
    if as_json:
        json_out({**done.to_json(), "card": printed.to_json() if printed else None})
        end_with_card(printed, card is not None)
        return
    verdict = "passed" if done.event.body["passed"] else "did not pass"
    line(f"{done.asset} is inspected and {verdict}.", style="bold")
    if done.next_due:
        line(f"Its next examination is due on {done.next_due}.")
    for words in done.todos:
        line(f"  to do: {words}")
    if done.held:
        line(f"{done.asset} is held.", style="bold")
    say_card(bool(done.held), printed)
    if done.lifted:
        line(f"{done.asset} is released.")
    end_with_card(printed, card is not None)


def check(
    tag: Number,
    finding: Annotated[
        list[str] | None, typer.Option("--finding", help="What was found; may be repeated.")
    ] = None,
    failed: Annotated[bool, typer.Option("--failed", help="It can't be relied on.")] = False,
    next_due: NextDue = None,
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Room equipment or lifting gear was checked as its plate says.

    Example: tagkit check R-QM-00001-Y --finding "cap missing"
    """
    from tagkit.jobs.inspecting import inspect as log_inspected

    with open_site(site) as opened:
        tag = number_of(opened, tag, as_json)
        done = log_inspected(
            opened,
            tag,
            sort="equipment",
            findings=finding or (),
            passed=False if failed else None,
            next_due=next_due,
            **entry(opened, by, station, at),
        )
    if as_json:
        json_out(done.to_json())
    else:
        line(f"{done.asset} is checked{'' if done.event.body['passed'] else ' and did not pass'}.")
        if done.next_due:
            line(f"Its next examination is due on {done.next_due}.")


def equipment(site: SiteDir = HERE, as_json: AsJson = False) -> None:
    """Room equipment: what is checked, when it was last, when it is due. Example: tagkit equipment"""
    from tagkit.jobs.inspecting import equipment as listed

    with open_site(site) as opened:
        rows = listed(opened)
        zone = opened.timezone()
    if as_json:
        json_out({"equipment": [row.to_json() for row in rows]})
        return
    if not rows:
        line("No room equipment yet. Take it in with “tagkit receive FILE”.")
        return
    table(
        ("number", "what", "where", "check", "last", "due", "state"),
        [
            (
                row.tag,
                row.what,
                row.location or "",
                row.check or "",
                clock_time(row.last, zone) if row.last else "never",
                clock_time(row.due_at, zone)[:14] if row.due_at else "",
                "did not pass" if row.passed is False else row.state or "",
            )
            for row in rows
        ],
    )


def clean(
    battery: Battery,
    using: Annotated[str, typer.Option("--with", help="What it was washed with.")],
    ohm: Annotated[
        str | None, typer.Option("--ohm", help="Resistance from case to post, when dry.")
    ] = None,
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """A battery was washed and neutralised.

    Example: tagkit clean B-QM-00417-D --with "soda solution, rinsed, dried" --ohm 3150
    """
    from tagkit.assets.tag import Kind
    from tagkit.jobs.inspecting import WASH_CAUTION
    from tagkit.jobs.inspecting import clean as log_cleaned
    from tagkit.jobs.testing import UNTIL_IT_PASSES

    with open_site(site) as opened:
        battery = number_of(opened, battery, as_json, Kind.BATTERY)
        event = log_cleaned(
            opened, battery, using=using, resistance=ohm, **entry(opened, by, station, at)
        )
        leaking = _leaks(opened, event.tags[0]) if ohm else None
    if as_json:
        json_out({"event": event.id, "battery": event.tags[0], **event.body})
        return
    line(f"{event.tags[0]} is washed.")
    if leaking:
        line(f"! {leaking.sentence}", style="bold")
        line(UNTIL_IT_PASSES, style="bold")
    line(WASH_CAUTION)
