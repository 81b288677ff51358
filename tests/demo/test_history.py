"""A year at Quillmoor: plausible, complete, the same each time, and useful at its end."""

from collections import Counter
from datetime import UTC, datetime, timedelta
from statistics import median

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
from tagkit.demo.roster import SHOWCASE, SITE_CODE, TROUBLES, first_tags, people
from tagkit.errors import WrongInput
from tagkit.record.record import Record

UNTIL = datetime(2026, 5, 20, 10, 40, tzinfo=UTC)


@pytest.fixture(scope="module")
def tags(fleet):
    return fleet_tags(fleet)


@pytest.fixture(scope="module")
def happened(fleet, tags):
    """The whole year, not written anywhere."""
    return year_of(plates_in(fleet, tags), tags, UNTIL)


def of_kind(happened, kind, tag=None):
    return [event for event in happened if event.kind == kind and tag in (None, *event.tags)]


def full_rounds(happened, tag=None):
    """Every cell read, pilot rounds left out."""
    found = of_kind(happened, "cells_read", tag)
    return [event for event in found if event.body.get("extent") != "pilot"]


def gravities(event):
    return [float(cell["sg"]) for cell in event.body["cells"]]


def test_numbers_come_in_the_order_of_the_sheets(tags):
    assert tags == dict(first_tags())


def test_the_year_has_its_size_and_its_kinds(happened):
    assert 24_000 < len(happened) < 40_000
    assert {event.kind for event in happened} == {
        "authorised", "amended", "seen_at", "moved", "changed", "charge_started", "charge_ended",
        "watered", "cells_read", "capacity_tested", "repaired", "inspected", "cleaned", "held",
        "released", "voided", "incident",
    }  # fmt: skip
    codes = {person.code for person in people()}
    assert {event.by for event in happened} <= codes


def test_the_same_seed_gives_the_same_year(fleet, tags):
    plates = plates_in(fleet, tags)
    first, second = (year_of(plates, tags, UNTIL, days=20) for _ in range(2))
    assert first == second
    assert year_of(plates, tags, UNTIL, days=20, seed=1) != first


def test_nothing_lies_outside_the_year_and_entries_are_in_order(happened):
    assert history_start(UNTIL) <= happened[0].at
    entered = [event.at + timedelta(seconds=event.entered_after) for event in happened]
    assert entered == sorted(entered) and entered[-1] <= UNTIL


def test_batteries_only_go_into_trucks_they_fit(happened):
    changes = of_kind(happened, "changed")
    assert {event.body["verdict"]["verdict"] for event in changes} == {"fit"}


def test_a_battery_is_in_one_place_at_a_time(happened):
    """What each change takes out is what the last one put in; nothing charges in a truck."""
    in_truck, charging = {}, {}
    voided = {event.body["event"].key for event in of_kind(happened, "voided")}
    for event in sorted(happened, key=lambda event: event.at):
        body = event.body
        if event.kind == "seen_at" and body["place"]["kind"] == "truck":
            in_truck.setdefault(body["place"]["name"], body["battery"])
            assert in_truck[body["place"]["name"]] == body["battery"]
        elif event.kind == "changed" and event.key not in voided:
            assert body["battery_out"] == in_truck[body["truck"]]
            assert body["battery_in"] not in in_truck.values()
            assert body["battery_in"] not in charging
            in_truck[body["truck"]] = body["battery_in"]
        elif event.kind == "charge_started":
            assert body["battery"] not in in_truck.values()
            assert body["charger"] not in charging.values()
            charging[body["battery"]] = body["charger"]
        elif event.kind == "charge_ended":
            del charging[body["battery"]]
    assert len(in_truck) == 26


def test_readings_are_physically_possible(happened):
    for event in happened:
        reading = event.body.get("temperature") if event.kind.startswith("charge_") else None
        if reading:
            assert 5 <= float(reading["value"]) <= 55
    for event in of_kind(happened, "cells_read"):
        for number, cell in enumerate(event.body["cells"], 1):
            assert cell["cell"] == number
            assert 1.9 < float(cell["voltage"]) < 2.3
            assert cell["sg"] is None or 1.15 < float(cell["sg"]) < 1.33
            assert cell["level"] in (None, "bare", "low", "at mark", "over")


def test_every_battery_is_used_charged_and_read_all_year(happened, tags):
    batteries = {str(tag) for tag in tags.values() if tag.kind is Kind.BATTERY}
    rounds = Counter(event.tags[0] for event in full_rounds(happened))
    uses = Counter(event.body["battery_in"] for event in of_kind(happened, "changed"))
    assert set(rounds) == batteries and min(rounds.values()) >= 5
    assert set(uses) == batteries and min(uses.values()) > 30
    assert sorted(uses.values())[3] > 60  # all but the three of the small pallet trucks


def test_one_cell_dies_while_its_neighbours_live(happened, tags):
    rounds = full_rounds(happened, str(tags[TROUBLES.dying_cell]))
    behind = []
    for event in rounds:
        read = gravities(event)
        middle = median(read)
        behind.append(middle - read[TROUBLES.dying_cell_number - 1])
        others = read[: TROUBLES.dying_cell_number - 1] + read[TROUBLES.dying_cell_number :]
        assert max(abs(value - middle) for value in others) < 0.015
    assert max(behind[:3]) < 0.010 < 0.045 < behind[-1]


def test_one_battery_boils_dry(happened, tags):
    thirsty = of_kind(happened, "watered", str(tags[TROUBLES.boils_dry]))
    litres = [float(event.body["litres"]) for event in thirsty]
    assert sum(litres[-4:]) > 2 * sum(litres[1:5])
    assert "bare" in {event.body["before"] for event in thirsty}
    sister = of_kind(happened, "watered", str(tags["C/4803/21"]))
    assert sum(litres) > 1.6 * sum(float(event.body["litres"]) for event in sister)


def test_swapped_labels_show_in_the_readings(happened, tags):
    """Two cells of each case lie low or high all year; half-way they change batteries."""
    one, other = (str(tags[name]) for name in TROUBLES.labels_swapped)
    low = {}
    for tag in (one, other):
        rounds = [gravities(event) for event in full_rounds(happened, tag)]
        lowest = [read.index(min(read)) + 1 for read in rounds]
        low[tag] = (lowest[0], lowest[-1])
    assert low[one] == (4, 9) and low[other] == (9, 4)


def test_the_stamp_that_contradicts_its_designation_is_amended_by_two(happened, tags):
    (event,) = of_kind(happened, "amended", str(tags[TROUBLES.stamp_contradicts]))
    assert event.body["changes"]["designation"]["value"] == "18-125-15"
    assert event.body["second"] != event.by


def test_holds_are_lifted_except_the_two_last(happened):
    held = {event.key for event in of_kind(happened, "held")}
    lifted = {event.body["hold"].key for event in of_kind(happened, "released")
              if event.body["hold"]}  # fmt: skip
    assert held - lifted == {"crack", "loose"} and lifted < held


@pytest.mark.parametrize("hour", [0.5, 5.9, 6.2, 11, 14.1, 19, 22.3])
def test_whenever_the_year_ends_the_room_is_at_work(fleet, tags, hour):
    """On a working day some charge, some cool, some are ready, and so is one for the demo."""
    until = datetime(2026, 3, 11, tzinfo=UTC) + timedelta(hours=hour)
    happened = year_of(plates_in(fleet, tags), tags, until, days=25)
    in_truck, started, ended, rests_until = {}, {}, {}, {}
    for event in sorted(happened, key=lambda event: event.at):
        body = event.body
        if event.kind == "seen_at" and body["place"]["kind"] == "truck":
            in_truck[body["place"]["name"]] = body["battery"]
        elif event.kind == "changed" and event.key != "wrong truck":
            in_truck[body["truck"]] = body["battery_in"]
            ended.pop(body["battery_in"], None)
        elif event.kind == "charge_started":
            started[body["battery"]] = event.at
        elif event.kind == "charge_ended":
            battery = body["battery"]
            ended[battery] = event.at
            rests_until[battery] = event.at + (event.at - started.pop(battery))
    held = {event.tags[0] for event in of_kind(happened, "held") if event.key in ("crack", "loose")}
    outside = {battery for battery in ended if battery not in in_truck.values()}
    ready = {battery for battery in outside - held if rests_until[battery] <= until}
    assert len(in_truck) == 26
    assert len(started) >= 1  # few towards six in the morning, when most have been charged
    assert len(outside) - len(ready) >= 2 and len(ready) >= 3
    assert str(tags[SHOWCASE.ready]) in ready


class TestWritten:
    """Sixty days, written into a record."""

    @pytest.fixture(scope="class")
    @classmethod
    def record(cls, tmp_path_factory, take_in_fleet):
        clock = DemoClock(history_start(UNTIL, 60) - timedelta(days=1))
        with Record.create(tmp_path_factory.mktemp("short"), SITE_CODE, clock=clock) as record:
            take_in_fleet(record)
            steps = []
            cls.history = write_history(
                record, fleet_tags(record), UNTIL, clock=clock, days=60,
                progress=lambda done, of: steps.append((done, of)),
            )  # fmt: skip
            cls.steps, cls.clock = steps, clock
            yield record

    def test_progress_is_told_week_by_week(self, record):
        assert 9 <= len(self.steps) <= 10
        assert self.steps[-1] == (self.history.events, self.history.events)
        assert self.clock.now == UNTIL

    def test_events_are_recorded_shortly_after_they_happened(self, record, tags):
        for event in record.timeline(tags[SHOWCASE.truck], 50):
            if event.kind == "changed":
                assert timedelta(0) <= event.recorded - event.happened < timedelta(minutes=2)

    def test_each_truck_holds_one_battery(self, record, tags):
        trucks = [tag for tag in tags.values() if tag.kind is Kind.TRUCK]
        assert [len(record.held_by(truck)) for truck in trucks] == [1] * 26
        assert record.contradictions() == []

    def test_every_battery_has_a_place_and_most_a_last_charge(self, record):
        states = list(record.states(Kind.BATTERY))
        assert all(state.place for state in states) and len(states) == 54
        assert all(state.last_charged_at for state in states)
        assert {state.place["kind"] for state in states} == {"truck", "charger", "stand"}
        assert any(state.charging for state in states)

    def test_two_batteries_are_held_one_of_them_for_safety(self, record):
        held = [state for state in record.states(Kind.BATTERY) if state.held]
        assert len(held) == 2 and sum(state.safety_held for state in held) == 1

    def test_people_are_authorised_and_lifting_gear_is_in_date(self, record):
        assert set(record.people()) == {person.code for person in people()}
        for person in record.people().values():
            assert person.until >= UNTIL.date().isoformat()
        for state in record.states(Kind.LIFTING):
            assert state.nameplate["inspection_due"]["value"] > UNTIL.date().isoformat()

    def test_slips_are_voided_and_stay_in_the_timeline(self, record):
        voided = [
            event
            for state in record.states(Kind.BATTERY)
            for event in record.timeline(state.tag)
            if event.voided
        ]
        assert {event.kind for event in voided} == {"changed", "seen_at"}


def test_a_fleet_that_is_not_in_the_record_is_an_error(tmp_path):
    with (
        Record.create(tmp_path, SITE_CODE, clock=DemoClock(UNTIL)) as record,
        pytest.raises(WrongInput, match="Take the fleet in first"),
    ):
        write_history(record, first_tags(), UNTIL)
