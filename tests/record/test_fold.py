"""Where a battery is, and what was done with it, folded from what happened."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from tagkit.record.bodies import SHAPES, BodyShape, completed, present_body
from tagkit.record.envelope import Event
from tagkit.record.fold import fold


def place(kind: str, name: Any) -> dict[str, str]:
    return {"kind": kind, "name": str(name)}


def test_a_change_puts_one_battery_in_and_the_other_on_the_charger(depot: Any) -> None:
    truck, first, second, charger = *depot.trucks[:1], *depot.batteries[:2], depot.chargers[0]
    depot.change(truck, first)
    depot.change(truck, second, out=first, to=charger)
    assert [state.tag for state in depot.record.held_by(truck)] == [str(second)]
    assert [state.tag for state in depot.record.held_by(charger)] == [str(first)]
    state = depot.record.state(first)
    assert state.last_changed_at == state.last_used_at == state.place["since"]
    assert state.charged_since_use is False


def test_a_battery_taken_out_to_nowhere_known_is_at_no_place(depot: Any) -> None:
    truck, first, second = depot.trucks[0], *depot.batteries[:2]
    depot.change(truck, first)
    depot.change(truck, second, out=first)
    state = depot.record.state(first)
    assert state.place is None
    assert state.place_since == state.last_changed_at


def test_two_trucks_cannot_hold_one_battery(depot: Any) -> None:
    battery = depot.batteries[0]
    depot.change(depot.trucks[0], battery)
    depot.change(depot.trucks[1], battery)
    assert depot.record.held_by(depot.trucks[0]) == []
    assert [state.tag for state in depot.record.held_by(depot.trucks[1])] == [str(battery)]


def test_a_charge_is_begun_and_ended(depot: Any, clock: Any) -> None:
    battery, charger = depot.batteries[0], depot.chargers[0]
    depot.change(depot.trucks[0], battery)
    depot.change(depot.trucks[0], depot.batteries[1], out=battery)
    body = {"battery": str(battery), "charger": str(charger), "charge_kind": "conventional"}
    temperature = {"value": "31.5", "unit": "°C"}
    depot.log("charge_started", body | {"temperature": temperature, "sg": 1.17})
    state = depot.record.state(battery)
    assert state.charging["charger"] == str(charger)
    assert state.place["name"] == str(charger)
    assert state.last_temperature == temperature | {"at": state.last_charge_started_at}
    assert state.last_sg["value"] == 1.17
    clock.move(hours=8)
    depot.log("charge_ended", {"battery": str(battery)})
    state = depot.record.state(battery)
    assert state.charging is None
    assert state.place["name"] == str(charger)
    assert state.last_charge_kind == "conventional"
    assert state.charged_since_use is True


def test_a_battery_that_leaves_its_charger_is_no_longer_on_charge(depot: Any) -> None:
    battery, charger = depot.batteries[0], depot.chargers[0]
    body = {"battery": str(battery), "charger": str(charger), "charge_kind": "conventional"}
    depot.log("charge_started", body)
    depot.log("moved", {"battery": str(battery), "place": place("stand", "row 2")})
    state = depot.record.state(battery)
    assert state.charging is None
    assert state.last_charged_at is None  # nobody said that the charge was ended


def test_an_opportunity_charge_goes_on_in_the_truck_until_the_battery_leaves_it(depot: Any) -> None:
    truck, battery = depot.trucks[0], depot.batteries[0]
    depot.change(truck, battery)
    depot.log("charge_started", {"battery": str(battery), "charge_kind": "opportunity"})
    assert depot.record.state(battery).charging["charger"] is None
    assert depot.place(battery) == str(truck)
    depot.change(truck, depot.batteries[1], out=battery)
    assert depot.record.state(battery).charging is None


def test_a_late_entry_about_the_past_stays_in_the_timeline_and_moves_nothing(
    depot: Any, clock: Any
) -> None:
    battery = depot.batteries[0]
    depot.change(depot.trucks[0], battery)
    clock.move(hours=2)
    earlier = clock.now - timedelta(hours=3)
    late = depot.log(
        "seen_at", {"battery": str(battery), "place": place("stand", "row 1")}, at=earlier
    )
    assert depot.place(battery) == str(depot.trucks[0])
    assert depot.record.timeline(battery)[0].id == late.id
    depot.log("moved", {"battery": str(battery), "place": place("stand", "row 9")},
              at=clock.now - timedelta(hours=1))  # fmt: skip
    assert depot.place(battery) == "row 9"


def test_an_undone_change_never_was(depot: Any) -> None:
    truck, first, second = depot.trucks[0], *depot.batteries[:2]
    depot.change(truck, first)
    before = depot.record.state(first)
    wrong = depot.change(truck, second, out=first)
    depot.log("voided", {"event": wrong.id, "reason": "wrong battery read"})
    after = depot.record.state(first)
    assert after.place == before.place
    assert depot.place(second) is None
    assert [event.voided for event in depot.record.timeline(second)] == [False, True, False]
    assert depot.record.last_change(truck).body["battery_in"] == str(first)


def test_undoing_an_undoing_has_no_effect(depot: Any) -> None:
    change = depot.change(depot.trucks[0], depot.batteries[0])
    undone = depot.log("voided", {"event": change.id, "reason": "wrong"})
    depot.log("voided", {"event": undone.id, "reason": "it was right"})
    assert depot.place(depot.batteries[0]) is None


def test_holds_are_lifted_one_by_one_and_a_release_is_used_up(depot: Any) -> None:
    battery = depot.batteries[0]
    leak = depot.log("held", {"asset": str(battery), "reason": "leak", "safety": True})
    late = depot.log("held", {"asset": str(battery), "reason": "inspection due"})
    assert depot.record.state(battery).safety_held
    depot.log("released", {"asset": str(battery), "hold": leak.id, "reason": "cell changed"})
    state = depot.record.state(battery)
    assert [hold["id"] for hold in state.holds] == [late.id]
    assert not state.safety_held
    depot.log("released", {"asset": str(battery), "reason": "needed now"})
    assert depot.record.state(battery).release["reason"] == "needed now"
    depot.change(depot.trucks[0], battery)
    assert depot.record.state(battery).release is None
    assert depot.record.state(battery).held


def test_nameplates_grow_by_marrying_and_amending(depot: Any) -> None:
    battery = depot.batteries[0]
    weight = {"value": "1111", "unit": "kg", "source": "stamped"}
    depot.log("married", {"facts": {"weight": weight}, "differences": ["weight"]}, tags=[battery])
    state = depot.record.state(battery)
    assert state.nameplate["weight"] == weight
    assert state.unsettled == ["weight"]
    assert [one.kind for one in depot.record.contradictions()] == ["unsettled"]
    changes = {"weight": weight | {"value": "1150"}, "maker_serial": None}
    depot.log("amended", {"changes": changes, "reason": "misread", "second": "KM"}, tags=[battery])
    state = depot.record.state(battery)
    assert state.nameplate == {"weight": changes["weight"]}
    assert not state.unsettled


def test_reprints_raise_the_revision(depot: Any) -> None:
    battery = depot.batteries[0]
    label = {"template": "side", "revision": 1, "payload": str(battery), "version": 4,
             "level": "H", "mask": 3}  # fmt: skip
    depot.log("label_printed", {"labels": [label]}, tags=[battery])
    depot.log("label_printed", {"labels": [label | {"revision": 2}]}, tags=[battery])
    state = depot.record.state(battery)
    assert state.label_revision == 2
    assert [one["revision"] for one in state.labels] == [1, 2]


def test_a_discharge_counts_for_the_use_it_was_read_after(depot: Any) -> None:
    truck, first, second = depot.trucks[0], *depot.batteries[:2]
    depot.change(truck, first)
    body = {"truck": str(truck), "battery_in": str(second), "battery_out": str(first)}
    depot.log("changed", body | {"discharged_percent": 72, "hours": 4211.5})
    assert depot.record.state(first).last_discharge["percent"] == 72
    assert depot.record.state(truck).hours["value"] == 4211.5
    depot.change(truck, first, out=second)
    depot.change(truck, second, out=first)
    assert depot.record.state(first).last_discharge is None


def test_a_retired_battery_is_nowhere_and_complained_about_when_used(depot: Any) -> None:
    battery = depot.batteries[0]
    depot.change(depot.trucks[0], battery)
    depot.log("retired", {"reason": "capacity 61 %"}, tags=[battery])
    assert depot.place(battery) is None
    depot.change(depot.trucks[0], battery)
    assert [one.kind for one in depot.record.contradictions()] == ["retired in use"]


def event(kind: str, version: int, body: dict[str, Any], known: bool = True) -> Event:
    return Event(
        site="QM", station="desk", epoch="e", sequence=1, happened_at="2026-03-02T06:00:00+00:00",
        recorded_at="2026-03-02T06:00:00+00:00", clock=0, by="TS", kind=kind, version=version,
        tags=("B-QM-00002-M",), body=body, seen={}, previous="", known=known,
    )  # fmt: skip


@pytest.mark.parametrize(
    "body", [{}, {"nameplate": 7}, {"nameplate": {}, "as_stamped": True, "unloading": 1}]
)
def test_a_malformed_body_leaves_the_asset_not_confirmed(body: dict[str, Any]) -> None:
    state = fold("B-QM-00002-M", [event("registered", 1, body)])
    assert state.unknown_kinds == ["registered v1 (malformed)"]
    assert state.registered_at is None
    assert state.events == 1


def test_kinds_and_versions_of_a_newer_program_are_not_understood() -> None:
    assert present_body("polished", 1, {}) is None
    assert present_body("changed", 2, {"truck": "T", "battery_in": "B"}) is None
    state = fold("B-QM-00002-M", [event("polished", 1, {}, known=False)])
    assert state.unknown_kinds == ["polished v1"]


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("label_inspected", {"asset": "B", "verdict": "good", "unused_error_correction": {}}),
        ("label_inspected", {"asset": "B", "verdict": "good", "unused_error_correction": True}),
        ("label_inspected", {"asset": "B", "verdict": "good", "unused_error_correction": 1e300}),
        ("label_inspected", {"asset": "B", "verdict": "good", "unused_error_correction": 1,
                             "reasons": 7}),
        ("changed", {"truck": "T", "battery_in": "B", "answers": ["yes"]}),
        ("changed", {"truck": "T", "battery_in": "B", "answers": 7}),
        ("married", {"facts": {}, "differences": 7}),
        ("charge_ended", {"battery": "B", "current": [[0, {}], [1, {}]]}),
        ("charge_ended", {"battery": "B", "current": [[0, 1], [1e300, 1]]}),
        ("charge_ended", {"battery": "B", "started_at": "yesterday"}),
        ("charge_ended", {"battery": "B", "started_at": ["2026-03-02T06:00:00+00:00"]}),
    ],
)  # fmt: skip
def test_what_no_page_could_show_is_not_understood(kind: str, body: dict[str, Any]) -> None:
    assert present_body(kind, 1, body) is None
    wrong = body.keys() - set(SHAPES[kind].required) or {"unused_error_correction"}
    right = {name: value for name, value in body.items() if name not in wrong}
    assert present_body(kind, 1, {"unused_error_correction": 0.5} | right) is not None


def replaced(value: Any) -> list[tuple[str, dict[str, Any]]]:
    """Events whose figures come in the place of others, with something else for a figure."""
    battery, truck = "B-QM-00002-M", "T-QM-00001-4"
    charge = {"battery": battery, "charge_kind": "conventional"}
    return [
        ("changed", {"truck": truck, "battery_in": battery, "hours": value}),
        ("charge_started", charge | {"sg": {"value": value, "unit": "SG"}}),
        ("charge_started", charge | {"flags": [
            {"code": one, "severity": "note", "sentence": one} for one in value]}),
        ("seen_at", {"battery": battery, "place": {"kind": "stand", "name": str(value)}}),
        ("released", {"asset": battery, "reason": str(value), "hold": None}),
        ("label_inspected", {"asset": battery, "verdict": "good", "unused_error_correction": 1,
                             "frame": value}),
    ]  # fmt: skip


@pytest.mark.parametrize(("many", "understood"), [(5, True), (9_000, False)])
def test_what_comes_in_the_place_of_another_can_not_be_large(many: int, understood: bool) -> None:
    for kind, body in replaced(["x"] * many):
        tag = body.get("truck", "B-QM-00002-M")
        state = fold(tag, [event(kind, 1, completed(kind, body))])
        assert (state.unknown_kinds == []) is understood, (kind, state.unknown_kinds)
        assert len(state.to_json()) < 25_000


def test_older_bodies_are_brought_up_to_date_step_by_step(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(
        __import__("tagkit.record.bodies", fromlist=["SHAPES"]).SHAPES,
        "retired",
        BodyShape(("litres",), version=3),
    )
    steps = {
        ("retired", 1): lambda body: {"millilitres": body["ml"]},
        ("retired", 2): lambda body: {"litres": body["millilitres"] / 1000},
    }
    assert present_body("retired", 1, {"ml": 500}, steps) == {"litres": 0.5}
    assert present_body("retired", 3, {"litres": 2}, steps) == {"litres": 2}
    assert present_body("retired", 1, {"ml": 500}, {}) is None
