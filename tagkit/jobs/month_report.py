"""The monthly report of the room as a file: on paper, as tables, for programs."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from tagkit.jobs.incidents import Incident
from tagkit.jobs.month import Month, month_of, next_month
from tagkit.jobs.paper import GREY, Paper
from tagkit.jobs.report_file import check_report_file, words_of, write_report
from tagkit.jobs.site import Site
from tagkit.jobs.tables import Table
from tagkit.jobs.telling import DUE_TITLES
from tagkit.language.words import Words

_MOST_OPEN, _MOST_WORK = 25, 60


def report_month(site: Site, name: str | None, out: Path, words: Words | None = None) -> Month:
    """Writes the report: PDF, CSV, XLSX or JSON by the name of ``out``.

    ``name``: YYYY-MM, else the last whole month; ``words``: the reader's, else the site's.
    """
    check_report_file(out)
    spoken = words or words_of(site)
    found = month_of(site, name)
    write_report(
        site, spoken, out,
        paper=lambda path: _paper(site, found, spoken, path),
        tables=lambda reader: month_tables(found, reader),
        facts=found.to_json(),
    )  # fmt: skip
    return found


def month_tables(found: Month, words: Words) -> list[Table]:
    """The month as tables. Water is in litres."""
    what, count, by, at = words("what"), words("count"), words("by"), words("at")
    totals = ((words("water, litres"), round(found.litres, 1)),
              (words("counted by chargers, Ah"), round(found.ampere_hours)))  # fmt: skip

    def counts(name: str, of: str, rows: Mapping[str, int]) -> Table:
        told = tuple((words(one) if one else words("not said"), n) for one, n in rows.items())
        return Table(name, (of, count), told)

    done = counts(words("Done"), what, found.done)
    return [
        Table(done.name, done.headings, (*done.rows, *totals)),
        Table(words("Changes"), (words("day"), words("changes")), found.changes_by_day),
        counts(words("Charges"), words("kind"), found.charge_kinds),
        counts(words("Flags of charges"), words("flag"), found.charge_flags),
        Table(
            words("Incidents"),
            (at, words("kind"), what, words("somebody hurt"), words("done at once"),
             words("assets"), by),
            tuple(
                (one.at.astimezone(words.zone), words(one.sort), one.what, _hurt(one, words),
                 one.done, ", ".join(one.assets), one.by)
                for one in found.incidents
            ),
        ),
        counts(words("Batteries now"), words("state"), found.standing),
        Table(
            words("Open"), (words("asset"), words("grade"), what, words("since")),
            tuple((one.tag, words(one.severity), words(one.sentence),
                   one.at.astimezone(words.zone)) for one in found.open),
        ),
        counts(words("Overdue"), what, {DUE_TITLES.get(code, code): number
                                        for code, number in found.overdue.items()}),
        Table(
            words("Retire first"), (words("battery"), words("points of 100")),
            tuple((tag, None if score is None else round(score, 1))
                  for tag, score in found.retire_first),
        ),
        Table(words("Work"), (at, what, by),
              tuple((moment.astimezone(words.zone), words(said), who)
                    for moment, said, who in found.work)),
    ]  # fmt: skip


def _paper(site: Site, found: Month, words: Words, out: Path) -> None:
    from tagkit.jobs.charts import bars

    month = words.month(found.since.date())
    paper = Paper(site, words, words("Battery room, {month}", month=month))
    running = found.until < next_month(found.since)
    paper.head_of_room(
        f"{month[:1].upper()}{month[1:]}",
        words("up to {moment}, the month still runs", moment=words.minute(found.until))
        if running
        else words("printed {moment}", moment=words.minute(site.now())),
    )
    paper.box(
        words(
            "Work on batteries is for trained, authorised people. What stands as held, flagged or "
            "overdue here is to be settled before the battery is used; this report settles nothing. "
            "The makers' instructions and local codes decide."
        )
    )
    paper.heading(words("Done"))
    if not found.done:
        paper.text(words("Nothing was recorded."), 9)
    rows = [(words(what), str(count)) for what, count in found.done.items()]
    if found.litres:
        rows.append((words("water"), words.litres(found.litres)))
    if found.ampere_hours:
        rows.append((words("counted by chargers"), f"{found.ampere_hours:.0f} Ah"))
    paper.figures(rows)
    paper.y += 1
    for title, parts in (
        (words("Charges begun"), found.charge_kinds),
        (words("Flags of charges and waterings"), found.charge_flags),
    ):
        paper.text(f"{title}: {_counted(parts, words)}.", 8.5)
    paper.y += 2
    paper.drawing(
        bars(
            words, paper.inner, 42, words("Battery changes a day"),
            [str(int(day[-2:])) for day, _ in found.changes_by_day],
            [float(count) for _, count in found.changes_by_day],
        )
    )  # fmt: skip
    _incidents(paper, found)
    _fleet(site, paper, found)
    paper.heading(words("Work and findings"))
    if not found.work:
        paper.text(words("No repairs, tests, holds or findings."), 9)
    else:
        paper.table(
            (words("when"), words("what"), words("by")),
            [(words.when(at, "d MMM HH:mm"), words(said), by)
             for at, said, by in found.work[:_MOST_WORK]],
            (14, 78, 8),
        )  # fmt: skip
        _rest(paper, len(found.work) - _MOST_WORK, f"tagkit report month {found.name}")
    paper.save(out)


def _incidents(paper: Paper, found: Month) -> None:
    words = paper.words
    paper.heading(words("Incidents"))
    if not found.incidents:
        paper.text(words("None was recorded."), 9)
        return
    paper.table(
        (words("when"), words("kind"), words("what"), words("somebody hurt"), words("by")),
        [
            (words.when(one.at, "d MMM HH:mm"), words(one.sort), _told(one, words),
             _hurt(one, words), one.by)
            for one in found.incidents
        ],
        (13, 15, 54, 11, 7),
    )  # fmt: skip


def _fleet(site: Site, paper: Paper, found: Month) -> None:
    words = paper.words
    now = words.minute(site.now())
    paper.heading(words("The fleet now, {moment}", moment=now))
    paper.text(f"{words('Batteries')}: {_counted(found.standing, words)}.", 8.5)
    overdue = {DUE_TITLES.get(code, code): number for code, number in found.overdue.items()}
    paper.text(f"{words('Overdue')}: {_counted(overdue, words)}.", 8.5)
    if found.open:
        paper.y += 1
        paper.table(
            (words("asset"), words("grade"), words("what"), words("since")),
            [(one.tag, words(one.severity), words(one.sentence), words.day(one.at))
             for one in found.open[:_MOST_OPEN]],
            (17, 10, 59, 14),
        )  # fmt: skip
        _rest(paper, len(found.open) - _MOST_OPEN, "tagkit today")
    paper.heading(words("First on the retirement list"))
    if not found.retire_first:
        paper.text(words("No battery is in use."), 9)
    paper.figures(
        [(tag, words("not judged") if score is None
          else words("{points} of 100", points=f"{score:.0f}"))
         for tag, score in found.retire_first]
    )  # fmt: skip


def _rest(paper: Paper, count: int, command: str) -> None:
    if count > 0:
        said = paper.words("and {count} more: {command}", count=count, command=command)
        paper.text(said, 7.5, colour=GREY)


def _told(one: Incident, words: Words) -> str:
    """People's own words stay theirs."""
    where = f" ({', '.join(one.assets)})" if one.assets else ""
    done = f" — {words('done at once')}: {one.done}" if one.done else ""
    return f"{one.what}{where}{done}"


def _hurt(one: Incident, words: Words) -> str:
    return {True: words("yes"), False: words("no"), None: words("not said")}[one.hurt]


def _counted(parts: Mapping[str, int], words: Words) -> str:
    said = [f"{words(one) if one else words('not said')} {n}" for one, n in sorted(parts.items())]
    return ", ".join(said) or words("none")
