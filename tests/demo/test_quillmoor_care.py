"""What battery care says of Quillmoor's year: the swapped labels, and the plan of its pool."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from tagkit.assets.tag import Kind
from tagkit.demo.history import (
    DemoClock,
    fleet_tags,
    history_start,
    plates_in,
    write_history,
    year_of,
)
from tagkit.demo.roster import SITE_CODE, TROUBLES
from tagkit.jobs.history import battery_history
from tagkit.jobs.judging import notices_of
from tagkit.jobs.pool_plan import plan_pool
from tagkit.jobs.rounds import last_round
from tagkit.jobs.site import Site
from tagkit.jobs.today import today
from tagkit.record.record import Record
from tagkit.settings import Settings

UNTIL = datetime(2026, 5, 20, 9, tzinfo=UTC)
OTHERS = "cells of another battery"


@pytest.fixture(scope="module")
def rounds_of_the_year(tmp_path_factory, take_in_fleet):
    """The whole year, of which only the rounds were written down."""
    clock = DemoClock(history_start(UNTIL) - timedelta(days=1))
    folder = tmp_path_factory.mktemp("rounds")
    with Record.create(folder, SITE_CODE, clock=clock) as record:
        take_in_fleet(record)
        tags = fleet_tags(record)
        clock.now = UNTIL
        with record.writing("SW", "battery room") as writing:
            for event in year_of(plates_in(record, tags), tags, UNTIL):
                if event.kind == "cells_read":
                    writing.append(event.kind, event.tags, event.body, at=event.at, by=event.by)
        yield Site(folder, Settings(), record, clock)


def test_the_two_swapped_labels_name_each_other(rounds_of_the_year):
    site = rounds_of_the_year
    tags = fleet_tags(site.record)
    one, other = (str(tags[name]) for name in TROUBLES.labels_swapped)
    told = {flag.tag: flag.sentence for flag in today(site).flags if flag.code == OTHERS}
    assert set(told) == {one, other}
    assert other in told[one] and one in told[other]
    for mine, theirs in ((one, other), (other, one)):
        found = (
            [flag.sentence for flag in last_round(site, mine).flags if flag.code == OTHERS],
            [flag.sentence for flag in notices_of(site, mine) if flag.code == OTHERS],
            [flag.sentence for flag in battery_history(site, mine).notices if flag.code == OTHERS],
        )
        assert all(theirs in "".join(said) for said in found)


def test_a_swap_is_no_dying_cell(rounds_of_the_year):
    site = rounds_of_the_year
    dying = str(fleet_tags(site.record)[TROUBLES.dying_cell])
    failing = {(flag.tag, flag.cell) for flag in today(site).flags if flag.code == "failing cell"}
    assert failing == {(dying, TROUBLES.dying_cell_number)}


def test_the_plan_with_recorded_use_serves_as_the_room_did(tmp_path, take_in_fleet):
    clock = DemoClock(history_start(UNTIL, 60) - timedelta(days=1))
    with Record.create(tmp_path, SITE_CODE, clock=clock) as record:
        take_in_fleet(record)
        write_history(record, fleet_tags(record), UNTIL, clock=clock, days=60)
        site = Site(tmp_path, Settings(), record, clock)
        planned = plan_pool(site)
        changed = [
            event
            for event in record.happened(["changed"], UNTIL - timedelta(days=28), UNTIL)
            if not event.voided
        ]
        two_full_shifts = plan_pool(site, shifts=[(6.0, 14.0), (14.0, 22.0)])
        lived = [
            battery_history(site, state.tag) for state in list(record.states(Kind.BATTERY))[:8]
        ]
    result = planned.result
    assert 100 * (1 - result.waited / result.changes) >= 95
    assert all(rate.use_percent_per_hour < 6 for rate in planned.plan.trucks)
    # changes a day, played and recorded; the room changes a little earlier than at 80 %
    played, recorded = result.changes / 29, len(changed) / 28
    assert 0.6 * recorded < played < 1.1 * recorded
    assert any("by the record" in note for note in planned.notes)
    assert any("hours a week each" in note for note in planned.notes)
    # every truck in both shifts of all seven days is more work than the room does
    assert two_full_shifts.result.changes > result.changes
    # the forecast of life goes on at the pace of all uses, also of those that are not known
    told = [one for one in lived if one.life.unknown_uses > 5 and one.forecast.cycles_a_week]
    assert told
    for one in told:
        weeks = (UNTIL - history_start(UNTIL, 60)).days / 7
        assert one.life.recorded and 0 < one.life.guessed < one.life.recorded
        assert one.forecast.cycles_a_week == pytest.approx(one.life.recorded / weeks, rel=0.35)
