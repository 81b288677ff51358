"""The plans as files: ventilation, the pool, retirement and acid, on paper and as tables."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from tagkit.jobs.ageing import RetirementPlan
from tagkit.jobs.paper import Paper
from tagkit.jobs.pool_plan import PoolPlanned
from tagkit.jobs.report_file import write_report
from tagkit.jobs.room_air import AcidTotal, RoomAir
from tagkit.jobs.site import Site
from tagkit.jobs.tables import Cell, Table
from tagkit.language.words import Words
from tagkit.rules.acid import KG_PER_LB
from tagkit.rules.ventilation import CFM_PER_M3H, AirFlow

_M3_PER_CUBIC_FOOT = 0.028316846592
_CM2_PER_SQUARE_INCH = 6.4516


def write_ventilation(site: Site, found: RoomAir, out: Path, words: Words) -> None:
    """Air for the charging room with its derivation."""

    def paper(path: Path) -> None:
        page = _begun(site, words, words("Ventilation of the room"))
        page.box(" ".join(map(words, found.notes)))
        result = found.result
        least = words("at least") + " " if result.unknown else ""
        page.heading(words("Air with all chargers at once"))
        page.figures(air_figures(found, words))
        for line in result.lines:
            page.text(words(line), 8.5)
        for line in result.unknown:
            page.text(f"{words('not known')}: {words(line)}", 8.5, bold=True)
        for title, flow in (
            (words("European practice"), result.europe), (words("US practice"), result.us),
        ):  # fmt: skip
            page.heading(f"{title}: {least}{air_flow(flow, words)}")
            page.side_by_side([words(line) for line in flow.lines], 7.5)
        page.save(path)

    def tables(reader: Words) -> Sequence[Table]:
        result = found.result
        rows: list[tuple[Cell, ...]] = [
            (reader("air"), round(result.m3_per_hour, 1), "m³/h"),
            (reader("air"), round(result.m3_per_hour * CFM_PER_M3H, 1), "cfm"),
            (reader("each opening, inlet and outlet"), round(result.opening_cm2), "cm²"),
            (
                reader("each opening, inlet and outlet"),
                round(result.opening_cm2 / _CM2_PER_SQUARE_INCH),
                "in²",
            ),
            (reader("free volume of the room"), round(result.volume_m3), "m³"),
            (
                reader("free volume of the room"),
                round(result.volume_m3 / _M3_PER_CUBIC_FOOT),
                "ft³",
            ),
            (reader("natural ventilation suffices"), _answer(result.natural, reader), None),
        ]
        lines = (
            *((reader("European practice"), reader(line)) for line in result.europe.lines),
            *((reader("US practice"), reader(line)) for line in result.us.lines),
            *((reader("not known"), reader(line)) for line in result.unknown),
        )
        headings = (reader("what"), reader("figure"), reader("unit"))
        return [
            Table(reader("Air"), headings, tuple(rows)),
            Table(reader("Derivation"), (reader("practice"), reader("line")), lines),
        ]

    write_report(site, words, out, paper=paper, tables=tables, facts=found.to_json())


def air_flow(flow: AirFlow, words: Words) -> str:
    """An air flow as this reader has it, the other unit behind it."""
    metric, customary = f"{flow.m3_per_hour:.0f} m³/h", f"{flow.cfm:.0f} cfm"
    return f"{customary} ({metric})" if words.units == "us" else f"{metric} ({customary})"


def air_figures(found: RoomAir, words: Words) -> list[tuple[str, str]]:
    """Air, openings and volume of the room, in the reader's units, and whether that suffices."""
    result = found.result
    if not (result.europe.lines or result.unknown):
        return [(words("air"), words("not known")), (words("chargers"), "0")]
    least = words("at least") + " " if result.unknown else ""
    flow = result.us if result.governs == "us" else result.europe
    opening, volume = f"{result.opening_cm2:.0f} cm²", f"{result.volume_m3:.0f} m³"
    if words.units == "us":
        opening = f"{result.opening_cm2 / _CM2_PER_SQUARE_INCH:.0f} in² ({opening})"
        volume = f"{result.volume_m3 / _M3_PER_CUBIC_FOOT:.0f} ft³ ({volume})"
    return [
        (words("air"), least + air_flow(flow, words)),
        (words("each opening, inlet and outlet"), least + opening),
        (words("free volume of the room"), least + volume),
        (words("natural ventilation suffices"), _answer(result.natural, words)),
    ]


def write_retirement(site: Site, found: RetirementPlan, out: Path, words: Words) -> None:
    """Which batteries to retire first, each sign with its share."""
    names = [share.name for share in found.places[0].shares] if found.places else []

    def paper(path: Path) -> None:
        page = _begun(site, words, words("Batteries to retire"))
        page.box(" ".join(map(words, found.notes)))
        if not found.places:
            page.text(words("No battery is in use."))
        else:
            page.table(
                (words("battery"), words("of 100"), *map(words, names)),
                [
                    (
                        f"{one.tag} {words('(life over)') if one.life_over else ''}".strip(),
                        "–" if one.score is None else f"{one.score:.0f}",
                        *(
                            words("not known") if share.points is None
                            else f"{share.points:.0f}/{share.most:.0f}: {words(share.figure)}"
                            for share in one.shares
                        ),
                    )
                    for one in found.places
                ],
                (19, 9, 25, 33, 18.5, 19.5, 27.5, 18.5),
                size=7.5, right=(1,),
            )  # fmt: skip
        page.save(path)

    def tables(reader: Words) -> Sequence[Table]:
        headings = [reader("battery"), reader("of 100"), reader("life over")]
        for name in names:
            headings += [reader(name), f"{reader(name)}, {reader('points')}"]
        rows = tuple(
            (
                one.tag, None if one.score is None else round(one.score, 1),
                reader("yes") if one.life_over else reader("no"),
                *(
                    cell
                    for share in one.shares
                    for cell in (
                        reader(share.figure),
                        None if share.points is None else round(share.points, 1),
                    )
                ),
            )
            for one in found.places
        )  # fmt: skip
        return [Table(reader("Retirement"), tuple(headings), rows)]

    write_report(site, words, out, paper=paper, tables=tables, facts=found.to_json())


def write_pool(site: Site, found: PoolPlanned, out: Path, words: Words) -> None:
    """The pool played through: waits, energy, what would be enough."""

    def paper(path: Path) -> None:
        from tagkit.jobs.charts import bars

        page = _begun(site, words, words("Size of the pool"))
        page.box(
            words(
                "A simulation with chance in it, made to compare plans: what was taken as given "
                "stands at the end. Chargers, wiring and ventilation are designed by licensed people."
            )
        )
        page.figures(_pool_figures(found, words))
        page.y += 2
        hours = found.result.changes_by_hour
        page.drawing(
            bars(words, page.inner, 42, words("Changes by hour of the day"),
                 [str(hour) for hour in range(len(hours))], list(map(float, hours)))
        )  # fmt: skip
        for table in _pool_tables(found, words):
            page.heading(table.name)
            # Without the search nothing stands in the last column.
            many = len(table.headings) - (0 if found.need else 1)
            rows = [
                ["" if cell is None else str(cell) for cell in row[:many]] for row in table.rows
            ]
            widths = (40, *([15] * (many - 1)))
            page.table(table.headings[:many], rows, widths, right=range(1, many))
        page.heading(words("Which batteries count for which trucks"))
        for group in found.fleet.groups:
            tags = ", ".join(state.tag for state in found.fleet.batteries[group.kind])
            page.text(f"{words(group.name)}: {tags or '—'}", 8.5)
        page.heading(words("Taken as given"))
        for note in found.notes:
            page.text(words(note), 8.5)
        page.save(path)

    def tables(reader: Words) -> Sequence[Table]:
        figures = Table(reader("Figures"), (reader("what"), reader("value")),
                        tuple(_pool_figures(found, reader)))  # fmt: skip
        notes = Table(reader("Taken as given"), (reader("what"),),
                      tuple((reader(note),) for note in found.notes))  # fmt: skip
        return [figures, *_pool_tables(found, reader), _counted_for(found, reader), notes]

    write_report(site, words, out, paper=paper, tables=tables, facts=found.to_json())


def write_acid(site: Site, found: AcidTotal, out: Path, words: Words) -> None:
    """Sulphuric acid in the fleet, for hazardous-chemical inventories."""
    total = found.inventory

    def weight(kilograms: float) -> str:
        pair = (f"{kilograms:.0f} kg", f"{kilograms / KG_PER_LB:.0f} lb")
        first, second = reversed(pair) if words.units == "us" else pair
        return f"{first} ({second})"

    def rows(reader: Words) -> list[tuple[str, str]]:
        return [
            (reader("sulphuric acid"), weight(total.acid_kg)),
            (reader("electrolyte"), weight(total.electrolyte_kg)),
            (reader("batteries counted"), str(total.counted)),
            (reader("of them by an assumed share of electrolyte"), str(total.assumed)),
            (reader("above 500 lb, from which US sites report it (40 CFR part 370)"),
             _answer(total.reported, reader)),
            (reader("not counted, weight or chemistry not known"), str(len(total.unknown))),
            (reader("counted as still here, without a receipt"), str(len(found.waiting))),
        ]  # fmt: skip

    def paper(path: Path) -> None:
        page = _begun(site, words, words("Acid in the fleet"))
        page.box(words("Local rules decide what is reported, and how."))
        for name, value in rows(words):
            page.figures([(name, value)])
        for title, tags in (
            (words("Not counted"), total.unknown), (words("Without a receipt"), found.waiting),
        ):  # fmt: skip
            if tags:
                page.heading(title)
                page.text(", ".join(tags), 8.5)
        page.save(path)

    def tables(reader: Words) -> Sequence[Table]:
        return [Table(reader("Acid in the fleet"), (reader("what"), reader("value")),
                      tuple(rows(reader)))]  # fmt: skip

    write_report(site, words, out, paper=paper, tables=tables, facts=found.to_json())


def _begun(site: Site, words: Words, title: str) -> Paper:
    paper = Paper(site, words, title)
    paper.head_of_room(title, words.minute(site.now()))
    return paper


def _answer(value: bool | None, words: Words) -> str:
    return {True: words("yes"), False: words("no"), None: words("not known")}[value]


def _pool_figures(found: PoolPlanned, words: Words) -> list[tuple[str, str]]:
    result = found.result
    rows = [
        (words("days played through"), str(found.plan.days)),
        (words("changes"), str(result.changes)),
        (words("waited for a battery"), str(result.waited)),
        (words("mean wait of those"), f"{result.mean_of_waiting_minutes:.0f} min"),
        (words("longest wait"), f"{result.longest_wait_minutes:.0f} min"),
        (words("energy"), f"{result.energy_kwh:.0f} kWh"),
        (words("peak"), f"{result.peak_kw:.0f} kW, {result.peak_hour}:00"),
        (words("batteries per truck, rule of thumb for continuous work"),
         f"{found.rule_of_thumb:.1f}"),
    ]  # fmt: skip
    if result.busiest_hour is not None:
        rows.append((words("busiest hour"), f"{result.busiest_hour}:00"))
    if result.cost is not None:
        rows.append((words("cost"), f"{result.cost:.2f}"))
    return rows


def _counted_for(found: PoolPlanned, words: Words) -> Table:
    """A row for each battery: the trucks it counts for, or why it counts for none."""
    counted = {
        state.tag: words(kind) for kind, states in found.fleet.batteries.items() for state in states
    }
    without = {
        tag: words(one.reason)
        for one in found.fleet.left_out
        if one.kind == "B"
        for tag in one.tags
    }
    return Table(
        words("Which batteries count for which trucks"),
        (words("battery"), words("counted for"), words("left out")),
        tuple((tag, counted.get(tag), without.get(tag)) for tag in sorted({*counted, *without})),
    )


def _pool_tables(found: PoolPlanned, words: Words) -> list[Table]:
    result, need = found.result, found.need

    def least(of: dict[str, int | None] | None, name: str) -> Cell:
        if of is None:
            return None
        count = of.get(name)
        return words("out of reach") if count is None else count

    batteries = tuple(
        (
            words(one.name), one.count,
            None if (share := result.service_by_kind.get(one.name)) is None else f"{share:.0f}%",
            result.least_ready.get(one.name), least(dict(need.batteries) if need else None, one.name),
        )
        for one in found.plan.batteries
    )  # fmt: skip
    chargers = tuple(
        (words(one.name), one.count, f"{result.charger_use_percent.get(one.name, 0):.0f}%",
         least(dict(need.chargers) if need else None, one.name))
        for one in found.plan.chargers
    )  # fmt: skip
    return [
        Table(words("Batteries"), (words("batteries"), words("there"), words("served in time"),
                                   words("fewest ready"), words("least needed")), batteries),
        Table(words("Chargers"), (words("chargers"), words("there"), words("in use"),
                                  words("least needed")), chargers),
    ]  # fmt: skip
