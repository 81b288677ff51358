"""Commands for rounds: readings in, a blank sheet out, a filled one in, the last one looked at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tagkit.cli.grouped import grouped
from tagkit.cli.hold_cards import NoCard, end_with_card, print_hold_card, say_card
from tagkit.cli.named import number_of
from tagkit.cli.options import (
    HERE,
    AsJson,
    At,
    By,
    Entry,
    Force,
    Language,
    SiteDir,
    Station,
    entry,
    free_to_write,
    open_site,
)
from tagkit.cli.show import clock_time, json_out, line, plural
from tagkit.errors import NotFound, WrongInput

if TYPE_CHECKING:
    from tagkit.jobs.hold_card import HoldCard
    from tagkit.jobs.rounds import CellWords, RoundTaken
    from tagkit.jobs.site import Site
    from tagkit.rules.cells import CellJudgement

app = typer.Typer(
    help="Rounds: gravity, temperature, voltage and level of the cells.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

Battery = Annotated[str, typer.Argument(metavar="BATTERY")]


@dataclass(frozen=True)
class Taken:
    """How a round was taken, by whom and where, and what is done with the answer."""

    fahrenheit: Annotated[
        bool | None,
        typer.Option("--fahrenheit/--celsius", help="What temperatures without a unit are. Default: "
                     "as the sheet says, else the site's units."),
    ] = None  # fmt: skip
    pilot: Annotated[
        bool, typer.Option("--pilot", help="The pilot cell only, not a full round.")
    ] = False
    voltage_taken: Annotated[
        str, typer.Option("--voltage-taken", help="at rest, on charge or under load.")
    ] = "at rest"
    charged: Annotated[
        bool | None,
        typer.Option("--charged/--not-charged", help="Was it charged before? Default: by the "
                     "record."),
    ] = None  # fmt: skip
    rested: Annotated[
        float | None, typer.Option("--rested", metavar="H", min=0, help="Hours it had rested.")
    ] = None
    hydrometer: Annotated[str | None, typer.Option("--hydrometer", help="Which one was used.")] = (
        None
    )
    keyed_by: Annotated[
        str | None,
        typer.Option("--keyed-by", metavar="CODE", help="Who keyed in what was read out."),
    ] = None
    confirm: Annotated[
        str, typer.Option("--confirm", metavar="CELLS", help="Critical cells, read twice: 7,12.")
    ] = ""
    no_card: NoCard = False
    by: By = None
    at: At = None
    station: Station = None
    site: SiteDir = HERE
    as_json: AsJson = False

    def record(
        self, site: Site, entered: Entry, battery: str, cells: Sequence[CellWords],
        unit: str | None = None,
    ) -> None:  # fmt: skip
        """Takes the readings in and says what they mean. ``unit``: of the temperatures, where no
        option says it. A reversed or dead cell has held the battery: its card comes with it."""
        from tagkit.jobs.rounds import record_round

        found = record_round(
            site,
            battery,
            cells,
            extent="pilot" if self.pilot else "full",
            voltage_taken=self.voltage_taken,
            temperature_unit=_unit(self.fahrenheit) or unit,
            after_charge=self.charged,
            hours_rested=self.rested,
            hydrometer=self.hydrometer,
            keyed_by=self.keyed_by,
            confirmed=_numbers(self.confirm),
            **entered,
        )
        held = found.battery if found.held else None
        card = print_hold_card(site, held, None, self.no_card, self.as_json)
        _say(found, self.as_json, site.timezone(), card)
        end_with_card(card, asked_for=False)


@app.command("enter")
@grouped
def enter(
    battery: Battery,
    cells: Annotated[
        str,
        typer.Option(
            "--cells",
            help="Cell by cell from the positive post: GRAVITY/TEMPERATURE/VOLTAGE/LEVEL; parts "
            "may be left out, “-” is a cell not read, “7:” goes on at cell 7.",
        ),
    ],
    taken: Taken,
) -> None:
    """Key a round in as one line; it is judged at once.

    Example: tagkit round enter B-QM-00417-D --cells "1280/21/2.12 1278 1281 1240/22/2.08/low"
    """
    from tagkit.assets.tag import Kind
    from tagkit.jobs.round_sheet import read_line

    with open_site(taken.site) as opened:
        battery = number_of(opened, battery, taken.as_json, Kind.BATTERY)
        read = read_line(cells)
        entered = entry(opened, taken.by, taken.station, taken.at)
        taken.record(opened, entered, battery, read)


@app.command("import")
@grouped
def import_sheet(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A filled sheet, CSV or XLSX.")],
    battery: Annotated[
        str | None, typer.Option("--battery", metavar="TAG", help="Where the sheet does not say.")
    ] = None,
    *,
    taken: Taken,
) -> None:
    """Take a filled sheet in.

    Example: tagkit round import b417.xlsx --at 08:30 --by PV
    """
    from tagkit.jobs.round_sheet import read_filled

    with open_site(taken.site) as opened:
        entered = entry(opened, taken.by, taken.station, taken.at)
        sheet = read_filled(file, battery)
        taken.record(opened, entered, sheet.battery, sheet.cells, sheet.temperature_unit)


@app.command("blank")
def blank(
    battery: Battery,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help=".pdf, .xlsx or .csv.")],
    language: Language = None,
    force: Force = False,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """A blank sheet of one battery: cells as they lie in the case, with its QR code.

    Example: tagkit round blank B-QM-00417-D --out round.pdf
    """
    from tagkit.assets.tag import Kind
    from tagkit.jobs.report_file import words_of
    from tagkit.jobs.round_sheet import blank_sheet

    free_to_write(out, force)
    with open_site(site) as opened:
        battery = number_of(opened, battery, as_json, Kind.BATTERY)
        cells = blank_sheet(opened, battery, out, words_of(opened, language))
    if as_json:
        json_out({"file": str(out), "cells": cells})
    else:
        line(f"{out}: a sheet for {cells} cells.")


@app.command("show")
def show(battery: Battery, site: SiteDir = HERE, as_json: AsJson = False) -> None:
    """The last full round of a battery, and where its cells are going.

    Example: tagkit round show B-QM-00417-D
    """
    from tagkit.assets.tag import Kind
    from tagkit.jobs.rounds import last_round

    with open_site(site) as opened:
        battery = number_of(opened, battery, as_json, Kind.BATTERY)
        found = last_round(opened, battery)
        if found is None:
            raise NotFound("there is no full round of it", "Enter one with “tagkit round enter”")
        _say(found, as_json, opened.timezone())


def _unit(fahrenheit: bool | None) -> str | None:
    return None if fahrenheit is None else "°F" if fahrenheit else "°C"


def _numbers(text: str) -> list[int]:
    words = text.replace(",", " ").split()
    if not all(word.isdigit() for word in words):
        raise WrongInput(f"“{text}” are not cells", "Write their numbers, like 7,12", "--confirm")
    return [int(word) for word in words]


def _say(found: RoundTaken, as_json: bool, zone: Any, card: HoldCard | None = None) -> None:
    from tagkit.jobs.rounds import CAUTION

    if as_json:
        json_out({**found.to_json(), "card": card.to_json() if card else None})
        return
    judged = found.round.judgement
    line(f"{found.battery}, {'pilot round' if found.round.extent == 'pilot' else 'round'} of "
         f"{clock_time(found.round.at, zone)} by {found.round.by}", style="bold")  # fmt: skip
    by_cell = {cell.cell: cell for cell in judged.cells}
    line("cells as they lie, + is the positive post; SG at the reference temperature:")
    for row in found.rows:
        line("  " + "".join(_cell(by_cell.get(number), number) for number in row))
    facts = []
    if judged.median is not None:
        facts.append(f"median {judged.median:.3f}, spread {judged.spread:.3f}")
    if judged.percent is not None:
        facts.append(f"state of charge {min(judged.percent, 100):.0f}%")
    if not judged.corrected and judged.median is not None:
        facts.append("not corrected: no temperature was read")
    if judged.due == "equalize":
        facts.append("equalize charge due")
    if found.freezing.freezes_at is not None:
        facts.append(f"freezes at {found.freezing.freezes_at:.0f} °C at the end of a shift")
    if facts:
        line("; ".join(facts) + ".")
    if judged.not_comparable:
        line(f"Not compared with other rounds: {'; '.join(judged.not_comparable)}.", hang=2)
    if found.unread:
        counts = "" if found.full else " This does not count as a full round."
        line(f"{plural(found.unread, 'cell')} not read: what was found in "
             f"{'it' if found.unread == 1 else 'them'} before stands.{counts}", hang=2)  # fmt: skip
    for flag in found.flags:
        line(f"! {flag.sentence}", style="bold", hang=2)
    for trend in found.trends:
        if trend.falling and trend.passes_at:
            latest = f"{trend.latest:%Y-%m-%d}" if trend.latest else "never"
            earliest = f"{trend.earliest:%Y-%m-%d}" if trend.earliest else "now"
            line(f"Trend of cell {trend.cell}: {trend.per_month:+.4f} a month; passes the limit "
                 f"about {trend.passes_at:%Y-%m-%d} ({earliest} to {latest}).", hang=2)  # fmt: skip
    if not found.flags:
        line("Nothing to flag.")
    if found.on_charge:
        line("! By the record it is on charge, so these voltages are not at rest: say "
             "--voltage-taken \"on charge\" next time, or end the charge first.", hang=2)  # fmt: skip
    if found.held:
        line(f"{found.battery} is held for safety.", style="bold")
    say_card(bool(found.held), card)
    line(CAUTION)


def _cell(cell: CellJudgement | None, number: int) -> str:
    reading = "  –  " if cell is None or cell.corrected is None else f"{cell.corrected:.3f}"
    worst = [flag.code for flag in cell.flags] if cell else []
    mark = "!" if worst else "+" if number == 1 else " "
    return f"{number:>3} {reading}{mark} "
