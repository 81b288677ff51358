"""However events of two stations arrive, and whatever their clocks say, they fold alike."""

from __future__ import annotations

import contextlib
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tagkit.record.clock import clock_text, read_clock, reading, utc_text
from tagkit.record.envelope import canonical, from_bytes
from tagkit.record.folder import Folder
from tagkit.record.keys import load_key
from tagkit.record.record import Record
from tagkit.record.verify import verify

START = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
LATER = START + timedelta(days=30)
BATTERIES = ("B-NA-00001-1", "B-NA-00002-2")
TRUCKS = ("T-NA-00001-1", "T-NA-00002-2")
CHARGER = "C-NA-00001-1"

steps = st.lists(
    st.tuples(
        st.sampled_from(["changed", "moved", "charge_started", "charge_ended", "held", "voided"]),
        st.integers(0, 1),  # which battery
        st.integers(0, 1),  # which truck
        st.sampled_from([0, 0, 0, -90, 2, 60, -14 * 60, 20 * 365 * 24 * 60]),  # clock jumps, min
        st.sampled_from([None, None, None, 0, 45, 600]),  # happened so many minutes earlier
        st.integers(0, 30),  # which event is voided
    ),
    max_size=12,
)


def body_of(kind: str, battery: str, truck: str, voids: str) -> dict[str, Any]:
    other = BATTERIES[1 - BATTERIES.index(battery)]
    return {
        "changed": {"truck": truck, "battery_in": battery, "battery_out": other},
        "moved": {"battery": battery, "place": {"kind": "stand", "name": truck}},
        "charge_started": {"battery": battery, "charger": CHARGER, "charge_kind": "equalize"},
        "charge_ended": {"battery": battery, "temperature": 30},
        "held": {"asset": battery, "reason": "leak"},
        "voided": {"event": voids, "reason": "wrong"},
    }[kind]


def write(folder: Path, site: str, plan: list[Any], ids: list[str]) -> list[tuple[bytes, bytes]]:
    """The events of a site's two stations, by one clock; ``ids`` are what it may void."""
    now = START
    with Record.create(folder, site, clock=lambda: now) as record:
        for kind, battery, truck, jump, earlier, which in plan:
            now += timedelta(minutes=1 + jump)
            at = None if earlier is None else now - timedelta(minutes=earlier)
            body = body_of(
                kind, BATTERIES[battery], TRUCKS[truck], ids[which % len(ids)] if ids else "x-1"
            )
            with record.writing("TS", ("bay", "yard")[(battery + truck) % 2]) as writing:
                event = writing.append(kind, [BATTERIES[battery]], body, at=at)
            ids.append(event.id)
            now = now - timedelta(minutes=jump) if jump > 60 else now
        assert verify(folder) == []
        return list(record.export())


def interleaved(parcels: list[Any], turns: list[int]) -> list[Any]:
    """The chains shuffled into each other, each in its own order."""
    chains: dict[str, list[Any]] = {}
    for parcel in parcels:
        chains.setdefault(from_bytes(parcel[0]).epoch, []).append(parcel)
    mixed = []
    for turn in turns:
        if left := [chain for chain in chains.values() if chain]:
            mixed.append(left[turn % len(left)].pop(0))
    return mixed + [parcel for chain in reversed(chains.values()) for parcel in chain]


def folded(folder: Path, batches: list[list[tuple[bytes, bytes]]]) -> list[str]:
    with Record.create(folder, "QZ", clock=lambda: LATER) as record:
        for batch in batches:
            received = record.receive(batch)
            assert received.refused == []
        states = [state.to_json() for state in record.states()]
        order = [event.id for tag in BATTERIES for event in record.timeline(tag)]
    assert verify(folder) == []
    return [*states, *order]


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(steps, steps, st.lists(st.integers(0, 3), max_size=30), st.integers(1, 7))
def test_any_interleaving_folds_to_the_same_state(
    tmp_path_factory: pytest.TempPathFactory,
    first: list[Any],
    second: list[Any],
    turns: list[int],
    size: int,
) -> None:
    base = tmp_path_factory.getbasetemp()
    with tempfile.TemporaryDirectory(dir=base, ignore_cleanup_errors=True) as top:
        folder, ids = Path(top), []
        one = write(folder / "one", "NA", first, ids)
        other = write(folder / "other", "NB", second, ids)
        expected = folded(folder / "a", [one, other])
        mixed = interleaved(one + other, turns)
        batches = [mixed[start : start + size] for start in range(0, len(mixed), size)]
        assert folded(folder / "b", batches) == expected
        assert folded(folder / "c", [other, one, mixed]) == expected


def test_clock_values_survive_being_written() -> None:
    for value in (0, reading(1_772_000_000_000, 65535), reading(1_772_000_000_000)):
        assert read_clock(clock_text(value)) == value
    with pytest.raises(ValueError):
        read_clock("yesterday")


def test_a_clock_set_back_by_hours_changes_no_order(depot: Any, clock: Any) -> None:
    truck, first, second = depot.trucks[0], *depot.batteries[:2]
    depot.change(truck, first)
    clock.move(hours=-5)
    depot.change(truck, second, out=first, to=depot.chargers[0], station="bay 1")
    depot.change(truck, first, out=second, to=depot.chargers[1])
    assert [state.tag for state in depot.record.held_by(truck)] == [str(first)]
    assert depot.place(second) == str(depot.chargers[1])
    clock.move(hours=7)
    depot.change(truck, second, out=first, to=depot.chargers[0])
    assert [state.tag for state in depot.record.held_by(truck)] == [str(second)]
    assert verify(depot.folder) == []


def test_a_dead_clock_battery_sends_no_event_to_the_year_2000(depot: Any, clock: Any) -> None:
    truck, first, second = depot.trucks[0], *depot.batteries[:2]
    depot.change(truck, first)
    right = clock.now
    clock.now = datetime(2000, 1, 1, tzinfo=UTC)
    depot.change(truck, second, out=first)
    clock.now = right + timedelta(hours=1)
    assert [state.tag for state in depot.record.held_by(truck)] == [str(second)]
    assert depot.record.state(second).last_changed_at[:10] == "2026-03-02"
    assert verify(depot.folder) == []


def test_a_wild_clock_does_not_win_for_ever(depot: Any, clock: Any) -> None:
    truck, first, second, third = depot.trucks[0], *depot.batteries[:3]
    right = clock.now
    clock.move(days=20 * 365)
    depot.change(truck, first, station="bay 1")
    depot.change(truck, second, out=first, to=depot.chargers[0], station="bay 2")
    clock.now = right + timedelta(hours=1)
    depot.change(truck, third, out=second, to=depot.chargers[1])
    assert [state.tag for state in depot.record.held_by(truck)] == [str(third)]
    assert depot.place(first) == str(depot.chargers[0])
    assert depot.record.state(third).last_changed_at < utc_text(
        int((right + timedelta(hours=2)).timestamp() * 1000)
    )
    clock.move(hours=1)
    depot.change(truck, first, out=third, to=depot.chargers[1], station="bay 2")
    assert [state.tag for state in depot.record.held_by(truck)] == [str(first)]
    assert verify(depot.folder) == []
    order = [event.station for event in reversed(depot.record.timeline(truck))]
    assert order == ["desk", "bay 1", "bay 2", "desk", "bay 2"]


def test_events_from_a_wild_clock_are_set_apart_until_it_is_put_right(
    depot: Any, clock: Any, tmp_path: Path
) -> None:
    with Record.create(tmp_path / "peer", "QZ", clock=lambda: START + timedelta(hours=1)) as peer:
        assert peer.receive(depot.record.export()).refused == []
        battery, truck = depot.batteries[0], depot.trucks[0]
        right = clock.now
        clock.move(days=4000)
        wild = depot.change(truck, battery)
        have = {head.epoch: head.sequence for head in peer.heads()}
        assert peer.receive(depot.record.export(have)).taken == 1
        assert peer.state(battery).place is None
        (found,) = peer.contradictions()
        assert found.kind == "wild clock"
        assert found.events == (wild.id,)
        assert verify(tmp_path / "peer") == []
        clock.now = right + timedelta(minutes=10)
        depot.log("watered", {}, tags=[battery])
        have = {head.epoch: head.sequence for head in peer.heads()}
        assert peer.receive(depot.record.export(have)).taken == 1
        assert peer.contradictions() == []
        assert peer.state(battery).place["name"] == str(truck)
        assert peer.state(battery).to_json() == depot.record.state(battery).to_json()
        assert verify(tmp_path / "peer") == []


def test_a_station_a_little_ahead_is_folded_when_its_time_has_come(
    depot: Any, clock: Any, tmp_path: Path
) -> None:
    now = [START]
    clock.now = START + timedelta(minutes=20)
    depot.change(depot.trucks[0], depot.batteries[0])
    with Record.create(tmp_path / "peer", "QZ", clock=lambda: now[0]) as peer:
        peer.receive(depot.record.export())
        assert peer.state(depot.batteries[0]) is not None
        assert peer.state(depot.batteries[0]).place is None
        now[0] += timedelta(minutes=20)
        with peer.writing("KM", "desk"):
            pass
        assert peer.state(depot.batteries[0]).place["name"] == str(depot.trucks[0])


def test_only_rightly_signed_unbroken_chains_are_taken_in(depot: Any, tmp_path: Path) -> None:
    depot.change(depot.trucks[0], depot.batteries[0])
    parcels = list(depot.record.export())
    (head,) = depot.record.heads()
    key = load_key(depot.folder / "keys", head.epoch)
    with Record.create(tmp_path / "peer", "QZ", clock=lambda: LATER) as peer:
        assert "beginning of its chain is missing" in peer.receive(parcels[1:2]).refused[0]
        assert peer.receive(parcels[:3]).taken == 3
        assert peer.receive(parcels[:3]).already_here == 3
        assert "missing here" in peer.receive(parcels[4:5]).refused[0]
        raw, signature = parcels[3]
        forged = raw.replace(b'"by":"TS"', b'"by":"KM"')
        assert forged != raw
        assert "signature" in peer.receive([(forged, signature)]).refused[0]
        assert "signature" in peer.receive([(raw, bytes(64))]).refused[0]
        content = __import__("json").loads(raw)
        for change, said in (
            ({"station": "bay 9"}, "belongs to"),
            ({"previous": "f" * 64}, "does not follow"),
        ):
            other = canonical(content | change)
            assert said in peer.receive([(other, key.sign(other))]).refused[0]
        twin = canonical(content | {"sequence": 2})
        assert "another event stands" in peer.receive([(twin, key.sign(twin))]).refused[0]
        for junk in (b"", b"[]", b"{}", b"\xff\xfe", b"[" * 100_000, b'{"envelope":1}'):
            assert "no event" in peer.receive([(junk, b"")]).refused[0]
        assert peer.receive(parcels).taken == len(parcels) - 3
    assert verify(tmp_path / "peer") == []


def test_what_a_newer_program_wrote_is_kept_passed_on_and_not_confirmed(
    depot: Any, tmp_path: Path
) -> None:
    raw, _ = list(depot.record.export())[-1]
    (head,) = depot.record.heads()
    key, event = load_key(depot.folder / "keys", head.epoch), from_bytes(raw)
    content = __import__("json").loads(raw)
    battery = str(depot.batteries[0])
    parcels = list(depot.record.export())
    previous, sequence = event.hash, event.sequence
    for kind, version in (("polished", 1), ("changed", 7)):
        sequence += 1
        newer = canonical(
            content | {"sequence": sequence, "previous": previous, "kind": kind, "tags": [battery],
                       "version": version, "body": {"shine": 3},
                       "clock": clock_text(event.clock + sequence)}
        )  # fmt: skip
        parcels.append((newer, key.sign(newer)))
        previous = from_bytes(newer).hash
    with Record.create(tmp_path / "peer", "QZ", clock=lambda: LATER) as peer:
        assert peer.receive(parcels).refused == []
        assert peer.state(battery).unknown_kinds == ["polished v1", "changed v7"]
        assert [one.kind for one in peer.contradictions()] == ["not understood"]
        with Record.create(tmp_path / "third", "QY", clock=lambda: LATER) as third:
            assert third.receive(peer.export()).taken == len(parcels)
    assert verify(tmp_path / "peer") == []


def test_a_void_may_come_before_what_it_voids(depot: Any, tmp_path: Path) -> None:
    change = depot.change(depot.trucks[0], depot.batteries[0], station="bay 1")
    depot.log("voided", {"event": change.id, "reason": "wrong"})
    parcels = sorted(depot.record.export(), key=lambda parcel: b'"station":"bay 1"' in parcel[0])
    with Record.create(tmp_path / "peer", "QZ", clock=lambda: LATER) as peer:
        for parcel in parcels:
            assert peer.receive([parcel]).taken == 1
        for tag in (depot.trucks[0], depot.batteries[0]):
            assert peer.state(tag).to_json() == depot.record.state(tag).to_json()
        assert peer.state(depot.batteries[0]).place is None
    assert verify(tmp_path / "peer") == []


def test_a_void_that_came_before_what_it_has_no_say_in_does_not_cancel_it(
    depot: Any, clock: Any, tmp_path: Path
) -> None:
    """Also where that was set apart meanwhile, its clock being wild."""
    battery, truck = depot.batteries[0], depot.trucks[0]
    clock.move(days=4000)
    wild = depot.change(truck, battery)
    clock.move(days=-4000)
    depot.log("watered", {}, tags=[battery])
    with Record.create(tmp_path / "other", "NB", clock=lambda: START) as other:
        with other.writing("KM", "bay 1") as writing:
            writing.append("voided", [depot.batteries[1]], {"event": wild.id, "reason": "wrong"})
        parcels = [*other.export(), *depot.record.export()]
    with Record.create(tmp_path / "peer", "QZ", clock=lambda: LATER) as peer:
        assert peer.receive(parcels).refused == []
        for tag in (truck, battery):
            assert peer.state(tag).to_json() == depot.record.state(tag).to_json()
    assert verify(tmp_path / "peer") == []


def test_who_came_back_to_the_present_stays_there_though_others_stood_beyond_it(
    depot: Any, clock: Any, tmp_path: Path
) -> None:
    """Two sites had the wrong year; what the other one wrote then, no event of here pulls back."""
    right, year = clock.now, timedelta(days=20 * 365)
    with Record.create(tmp_path / "other", "NB", clock=lambda: right + year) as other:
        with other.writing("KM", "bay 1") as writing:
            for minutes in range(40):
                right += timedelta(minutes=1)
                writing.append("watered", [depot.batteries[1]], {"litres": minutes})
        clock.now = right + year
        assert depot.record.receive(other.export()).taken == 41
    depot.change(depot.trucks[0], depot.batteries[0], station="bay 1")
    depot.change(depot.trucks[1], depot.batteries[2], station="bay 2")
    clock.now = right + timedelta(hours=2)
    for station in ("bay 1", "bay 2", "bay 1"):
        depot.log("watered", {}, tags=[depot.batteries[0]], station=station)
    last = depot.record.timeline(depot.batteries[0])[:3]
    assert {event.moment[:4] for event in last} == {"2026"}
    assert verify(depot.folder) == []


def test_a_chain_that_has_not_come_whole_yet_is_not_cut_off(depot: Any, tmp_path: Path) -> None:
    battery = depot.batteries[0]
    last = depot.change(depot.trucks[0], battery)
    depot.log("watered", {}, tags=[battery], station="bay 1", seen={str(battery): last.id})
    parcels = list(depot.record.export())
    with Record.create(tmp_path / "peer", "QZ", clock=lambda: LATER) as peer:
        part = [parcel for parcel in parcels if from_bytes(parcel[0]).id != last.id]
        assert peer.receive(part).refused == []
        assert verify(tmp_path / "peer") == []


@pytest.mark.parametrize("between", ["nothing", "changed", "voided", "received", "cancelled"])
def test_late_events_are_folded_before_the_lock_is_taken_whatever_comes_between(
    depot: Any, clock: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, between: str
) -> None:
    started = clock.now
    body = {"battery": str(depot.batteries[0]), "place": {"kind": "stand", "name": "s"}}
    truck, first, second = depot.trucks[0], *depot.batteries[:2]
    change = {"truck": str(truck), "battery_in": str(first), "battery_out": str(second)}
    clock.move(days=30)
    with depot.record.writing("TS", "desk") as writing:
        for _ in range(300):
            mine = writing.append("changed", [], change)
    early = [started + timedelta(hours=number) for number in range(2)]
    late = []
    for number, site in enumerate(("NA", "NB")):
        with Record.create(tmp_path / site, site, clock=lambda at=early[number]: at) as peer:
            for station, now in (("bay 1", 0), ("bay 2", 30)):
                early[number] += timedelta(minutes=now)
                with peer.writing("KM", station) as writing:
                    for _ in range(60):
                        early[number] += timedelta(seconds=7)
                        moved = writing.append("moved", [], body)
                        writing.append("watered", [second], {"litres": 2})
                    if between == "cancelled" and station == "bay 1":
                        wrong = moved.id
                    elif between == "cancelled":
                        writing.append("voided", [], {"event": wrong, "reason": "wrong"})
            # What cancels an event comes before it.
            late.append(sorted(peer.export(), key=lambda one: b'bay 1","tags' in one[0]))
    put: list[str] = []
    again: list[str] = []

    def counted(folder: Folder, tag: str, way: Any = Folder._as_foreseen) -> Any:
        kept = way(folder, tag)
        (put if kept else again).append(tag)
        return kept

    monkeypatch.setattr(Folder, "_as_foreseen", counted)
    monkeypatch.setattr("tagkit.record.receive._Pace.took", lambda *_: None)
    transaction = depot.record._transaction
    with Record.open(depot.folder, clock=clock) as other:

        @contextlib.contextmanager
        def interrupted() -> Any:
            if between == "received":
                other.receive([late[1].pop(0) for _ in range(min(9, len(late[1])))])
            elif between in ("changed", "voided"):
                with other.writing("AB", "bay 9") as writing:
                    named = {"event": mine.id, "reason": "wrong"}
                    writing.append(between, [], change if between == "changed" else named)
            with transaction():
                yield

        monkeypatch.setattr(depot.record, "_transaction", interrupted)
        assert depot.record.receive(late[0]).taken == len(late[0])
        assert verify(depot.folder) == []
        assert other.receive(late[1]).refused == []
    assert len(put) >= 8 or between in ("voided", "received")
    assert bool(again) == (between in ("voided", "received", "cancelled"))
    assert depot.record.state(first).events >= 420
    assert verify(depot.folder) == []
