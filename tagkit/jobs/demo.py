"""The main job on the invented depot: delivery, labels, marrying, reading, verdict, change,
look-up. Everything goes through the same jobs that a real site uses."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from tagkit.assets.tag import Kind, Tag, parse_tag
from tagkit.demo.history import DemoClock, history_start, write_history
from tagkit.demo.pictures import Labelled, write_pictures, write_video
from tagkit.demo.roster import (
    ROLLER_STAND,
    SHOWCASE,
    SITE_CODE,
    SITE_NAME,
    delivery_csv,
    fleet_sheets,
    people,
)
from tagkit.errors import Exit, WrongInput
from tagkit.jobs.assets import plate
from tagkit.jobs.charge import ChargeReadings, end_charge, start_charge
from tagkit.jobs.conversation import Station, screen_of, shown, step
from tagkit.jobs.fit import Judgement, judge
from tagkit.jobs.looking import looks
from tagkit.jobs.marry import marry
from tagkit.jobs.printing import print_labels
from tagkit.jobs.receive import receive
from tagkit.jobs.site import Site, create_site, open_site, system_clock
from tagkit.jobs.today import today
from tagkit.jobs.whereabouts import where_is
from tagkit.record.state import AssetState
from tagkit.settings import Settings
from tagkit.station.change import begin
from tagkit.units import Quantity

Progress = Callable[[str, int, int], None]
DESK, BAY = "desk", "bay-1"
_VIDEO = "bay-1.avi"


@dataclass(frozen=True)
class DemoStep:
    """One step of the main job: what was done, what came of it."""

    title: str
    lines: tuple[str, ...]
    facts: dict[str, Any] = field(default_factory=dict)


def free_directory(start: Path) -> Path:
    """``start``, or the first of start-2, start-3 … that is not there yet."""
    if not start.exists():
        return start
    number = 2
    while (there := start.with_name(f"{start.name}-{number}")).exists():
        number += 1
    return there


def clear_old_demo(directory: Path) -> None:
    """Remove a demo built here before; WrongInput for a folder that is anything else."""
    if not directory.exists():
        return
    if not directory.is_dir() or (any(directory.iterdir()) and not (directory / _MARK).exists()):
        raise WrongInput(
            f"{directory} is not a demo that could be built anew", "Name another folder"
        )
    shutil.rmtree(directory)


_MARK = "this-is-a-demo.txt"
_MARK_TEXT = (
    "An invented depot, made by “tagkit demo”. Everything about it is made up; the folder may be\n"
    "deleted, and “tagkit demo DIR --force” builds it anew.\n"
)


def run_demo(directory: Path, progress: Progress) -> Iterator[DemoStep]:
    """Build the demo site in ``directory`` (new or empty) and do the main job there."""
    now = system_clock()
    lead, attendant = _people()
    yield _build(directory, now, lead, progress)
    with open_site(directory) as site:
        delivered, tags = _delivery_day(site, directory, now, lead, progress)
        yield delivered
        yield _marrying(site, tags, now, lead)
        yield _freshening(site, tags[SHOWCASE.fits], now, attendant)
        yield _pictures(site, directory, progress)
        yield from _change(site, directory, tags, attendant)
        yield _lookup(site, tags[SHOWCASE.fits])
        yield _morning(site)
    yield DemoStep("Where everything lies", tuple(_files(directory)), {"directory": str(directory)})


def _morning(site: Site) -> DemoStep:
    """What the lead reads first: the gravest flags, and how much is due."""
    listed = today(site)
    grave = [one for one in listed.flags if one.severity in ("stop", "act")]
    lines = [f"{one.tag}: {one.sentence}" for one in grave]
    late = sum(one.state == "overdue" for one in listed.dues)
    lines.append(f"{late} more are overdue: “tagkit today” lists them.")
    return DemoStep("The morning list", tuple(lines), {"flags": len(grave), "overdue": late})


def _people() -> tuple[str, str]:
    trained = people()
    lead = next(person.code for person in trained if person.role == "supervisor")
    return lead, next(person.code for person in trained if person.role == "attendant")


def _build(directory: Path, now: datetime, lead: str, progress: Progress) -> DemoStep:
    """The depot with its fleet in use and a year of history."""
    clock = DemoClock(history_start(now) - timedelta(days=1))
    settings = Settings()
    settings = replace(
        settings,
        site=replace(settings.site, name=SITE_NAME),
        station=replace(settings.station, by=lead),
    )
    with create_site(directory, SITE_CODE, settings, clock) as site:
        (directory / _MARK).write_text(_MARK_TEXT, encoding="utf-8")
        taken = 0
        tags: dict[str, Tag] = {}
        for sheet in fleet_sheets():
            received = receive(
                site, sheet.path, by=lead, station=DESK, as_stamped=True, kind=sheet.kind
            )
            if received.rejected:
                raise WrongInput(f"{sheet.path.name} has bad rows", "Mend the demo's sheets")
            taken += len(received.taken)
            for row in received.taken:
                name = row.fleet_number if sheet.kind is Kind.TRUCK else row.maker_serial
                if row.tag and name:
                    tags[name] = row.tag
        history = write_history(
            site.record,
            tags,
            now - timedelta(minutes=1),
            clock=clock,
            progress=lambda done, total: progress("a year of history", done, total),
        )
    return DemoStep(
        "The depot",
        (
            f"{SITE_NAME} (invented): {taken} assets in use, taken in as stamped.",
            f"A year of its record: {history.events:,} signed events.",
        ),
        {"assets": taken, "events": history.events},
    )


def _delivery_day(
    site: Site, directory: Path, now: datetime, lead: str, progress: Progress
) -> tuple[DemoStep, dict[str, Tag]]:
    sheet = directory / delivery_csv().name
    shutil.copyfile(delivery_csv(), sheet)
    when = now - timedelta(hours=30)
    received = receive(site, sheet, by=lead, station=DESK, at=when, keep_good=True)
    pdf = directory / "labels.pdf"
    numbers = [str(row.tag) for row in received.taken]
    printed = print_labels(site, numbers, pdf, by=lead, station=DESK, progress=progress)
    tags = {row.maker_serial: row.tag for row in received.taken if row.maker_serial and row.tag}
    lines = [
        f"{sheet.name}: {len(received.taken)} batteries taken in, "
        f"{len(received.rejected)} row(s) sent back:",
        *(f"  {row}" for row in received.rejected),
        *(f"  {note}" for note in received.warnings),
        f"{pdf.name}: {printed.labels} labels in unloading order, each read back from pixels.",
    ]
    facts = {"taken": numbers, "rejected": len(received.rejected), "labels": str(pdf)}
    return DemoStep("Delivery day", tuple(lines), facts), tags


def _marrying(site: Site, tags: dict[str, Tag], now: datetime, lead: str) -> DemoStep:
    """Each label stuck on its case, and what is stamped there keyed in."""
    lines = []
    when = now - timedelta(hours=29)
    for serial in (SHOWCASE.fits, SHOWCASE.too_light):
        tag = tags[serial]
        state = site.record.state(tag)
        assert state is not None
        voltage, weight = (
            str(Quantity.from_stored(state.nameplate[name])) for name in ("voltage", "weight")
        )
        stamped = {"maker_serial": serial, "voltage": voltage, "weight": weight}
        marry(site, str(tag), stamped, by=lead, station=DESK, at=when)
        lines.append(f"{tag}: {serial}, {voltage}, {weight} as stamped on the case.")
    unknown = tags[SHOWCASE.weight_unknown]
    lines.append(f"{unknown}: the sheet gives no weight and nobody has read the stamp yet.")
    return DemoStep("Marrying labels and cases", tuple(lines), {"married": 2})


def _freshening(site: Site, battery: Tag, now: datetime, attendant: str) -> DemoStep:
    """The first charge of a new battery, and its rest."""
    charger = _charger_for(site, battery)
    start_charge(
        site, str(battery), charger, ChargeReadings("21 °C", "1.270"), by=attendant, station=BAY,
        at=now - timedelta(hours=28), charge_kind="freshening", answer="as-shown",
    )  # fmt: skip
    end_charge(
        site, str(battery), ChargeReadings("34 °C", "1.285"), by=attendant, station=BAY,
        at=now - timedelta(hours=20),
    )  # fmt: skip
    return DemoStep(
        "First charge",
        (f"{battery} was charged at {charger} for 8 h and has rested since.",),
        {"charger": charger},
    )


def _charger_for(site: Site, battery: Tag) -> str:
    """A charger that fits and is free by the record."""
    for state in site.record.states(Kind.CHARGER):
        free = not any(held.charging for held in site.record.held_by(state.tag))
        if free and judge(site, battery, state.tag).exit_code() == Exit.DONE:
            return state.tag
    raise WrongInput("no charger of the depot is free and fits", "Build the demo anew with --force")


def _pictures(site: Site, directory: Path, progress: Progress) -> DemoStep:
    """Pictures of labels in the room, read back by the real reader."""
    labelled = _labelled(site)
    folder = directory / "pictures"
    made = write_pictures(
        folder, labelled, progress=lambda done, total: progress("pictures of the room", done, total)
    )
    lines, read, expected = [], 0, 0
    for picture in made:
        found = list(looks(str(picture.path), site=site))
        ours = {one.tag for look in found for one in look.labels}
        foreign = sum(len(look.foreign) for look in found)
        read += len(ours & set(picture.tags))
        expected += len(picture.tags)
        told = ", ".join(sorted(str(tag) for tag in ours)) or "nothing readable"
        eaten = any(one.method == "recovered" for look in found for one in look.labels)
        more = f"; {foreign} code(s) not ours" if foreign else ""
        more += "; recovered, to be confirmed by a person" if eaten else ""
        lines.append(f"{picture.path.name}: {told}{more}")
    lines.append(f"{read} of {expected} labels in {len(made)} pictures were read.")
    write_video(folder / _VIDEO, labelled[SHOWCASE.truck], labelled[SHOWCASE.fits])
    return DemoStep("Reading labels in pictures", tuple(lines), {"read": read, "shown": expected})


def _labelled(site: Site) -> dict[str, Labelled]:
    names: dict[str, Labelled] = {}
    for state in site.record.states():
        kind = Kind(state.kind)
        if kind is Kind.ROOM or state.registered_at is None:
            continue
        name = state.fleet_number if kind is Kind.TRUCK else state.maker_serial
        if name:
            names[name] = Labelled(parse_tag(state.tag), plate(state))
    return names


def _change(
    site: Site, directory: Path, tags: dict[str, Tag], attendant: str
) -> Iterator[DemoStep]:
    """Three verdicts, then the change that the video shows, logged through the station."""
    truck = _truck(site)
    for words, serial in (
        ("A fit", SHOWCASE.fits),
        ("A no-fit", SHOWCASE.too_light),
        ("Not confirmed", SHOWCASE.weight_unknown),
    ):
        judged = judge(site, tags[serial], truck.tag)
        yield DemoStep(
            f"{words}: battery {tags[serial]} for truck {truck.tag}",
            tuple(verdict_lines(judged)),
            {"verdict": judged.verdict.result, "exit": int(judged.exit_code())},
        )
    yield _at_the_bay(site, directory / "pictures" / _VIDEO, attendant)


def verdict_lines(judged: Judgement) -> list[str]:
    """The answer, and the lines that decide it (for a fit: voltage, weight, chemistry)."""
    shown_checks = judged.verdict.deciding or tuple(
        check for check in judged.verdict.checks if check.name in ("voltage", "weight", "chemistry")
    )
    lines = [judged.headline()]
    for check in shown_checks:
        needs = f"needs {check.required}, has {check.found or 'not known'}"
        lines.append(f"  {check.name}: {needs}{'; ' + check.note if check.note else ''}")
    lines += [f"  not ready: {reason.sentence}" for reason in judged.readiness.reasons]
    if judged.balance:
        lines.append(f"  {judged.balance}")
    return lines


def _at_the_bay(site: Site, video: Path, attendant: str) -> DemoStep:
    """The video shown to the station; a person presses for each answer."""
    station = Station(site, BAY, attendant)
    change = begin(stand=ROLLER_STAND)
    lines = []
    for look in looks(str(video)):
        if not look.labels:
            continue
        for one in look.labels:
            lines.append(f"frame {look.frame.index}: {one.tag}, {one.method} by {one.decoder}")
        change = step(station, change, shown(look.labels))
    screen = screen_of(station, change)
    while screen.stage in ("out", "finish"):
        press = screen.offers[0]
        lines.append(f"screen: {screen.headline.text}; pressed “{press.label.text}”")
        change = step(station, change, press.gives)
        screen = screen_of(station, change)
    if not change.logged:
        notice = f" ({screen.notice.text})" if screen.notice else ""
        raise WrongInput(
            f"the change in the video was not logged: {screen.headline.text}{notice}",
            "Build the demo anew with --force",
        )
    event = site.record.last_change(BAY)
    assert event is not None
    body = event.body
    lines.append(
        f"Logged: {body['battery_in']} into {body['truck']}, {body['battery_out'] or 'nothing'} out"
        f"{' to the ' + body['out_to']['name'] if body['out_to'] else ''}."
    )
    facts = {key: body[key] for key in ("truck", "battery_in", "battery_out")}
    return DemoStep("The change, from a video at the bay", tuple(lines), facts)


def _truck(site: Site) -> AssetState:
    truck = site.record.by_fleet_number(SHOWCASE.truck)
    assert truck is not None, "the roster has the showcase truck"
    return truck


def _lookup(site: Site, battery: Tag) -> DemoStep:
    found = where_is(site, battery)
    zone = site.timezone()
    charged = datetime.fromisoformat(found.last_charged_at) if found.last_charged_at else None
    last = charged.astimezone(zone).strftime("%a %Y-%m-%d %H:%M") if charged else "not known"
    lines = (
        f"{found.tag} is {found.place or 'at a place not known'}, {found.state}.",
        f"Last charged {last}.",
    )
    return DemoStep("Look-up", lines, found.to_json())


def _files(directory: Path) -> list[str]:
    about = {
        "labels.pdf": "the labels of the delivery",
        "delivery.csv": "the supplier's sheet, with its troubles",
        "delivery-to-mend.csv": "the rows that were sent back, to mend and take in again",
        "pictures": "labels in the room, and the video at the bay",
        "record.db": "the record",
        "keys": "the stations' signing keys",
        "site.toml": "the settings, every default explained",
    }
    return [f"{directory / name}: {words}" for name, words in about.items()
            if (directory / name).exists()]  # fmt: skip
