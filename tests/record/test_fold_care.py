"""How the events of battery care become an asset's state, and what bodies are refused."""

from __future__ import annotations

from typing import Any

import pytest
from tagkit.record.bodies import completed, present_body
from tagkit.record.fold_care import ROUNDS_KEPT, WATERINGS_KEPT

CELLS = [
    {"cell": cell, "sg": "1.280", "temperature": "21", "voltage": "2.12"} for cell in range(1, 5)
]


@pytest.fixture
def battery(depot: Any) -> str:
    return str(depot.batteries[0])


def state_of(depot: Any, battery: str) -> Any:
    found = depot.record.state(battery)
    assert found is not None
    return found


def used(depot: Any, battery: str, percent: int | None) -> None:
    """Into a truck and out of it, and charged."""
    truck, other = depot.trucks[0], depot.batteries[1]
    depot.change(truck, battery)
    body = {"truck": str(truck), "battery_in": str(other), "battery_out": battery}
    depot.log("changed", {**body, "discharged_percent": percent})
    charge(depot, battery)


def charge(depot: Any, battery: str, kind: str = "conventional", **end: Any) -> Any:
    depot.log("charge_started", {"battery": battery, "charge_kind": kind})
    return depot.log("charge_ended", {"battery": battery, **end})


def test_events_written_before_there_were_fields_keep_their_meaning(
    depot: Any, battery: str
) -> None:
    for kind in ("watered", "cells_read", "capacity_tested", "repaired", "inspected", "cleaned"):
        depot.log(kind, {}, tags=[battery])
    state = state_of(depot, battery)
    assert state.unknown_kinds == []
    assert set(state.done) == {
        "water", "round", "capacity test", "repair", "inspection", "cleaning"
    }  # fmt: skip


def test_a_round_gives_gravity_temperature_and_its_own_id(depot: Any, battery: str) -> None:
    event = depot.log("cells_read", {"cells": CELLS}, tags=[battery])
    state = state_of(depot, battery)
    assert state.rounds == [[state.done["round"], event.id]]
    assert (state.last_sg["value"], state.last_temperature["value"]) == ("1.28", "21")
    pilot = {"extent": "pilot", "cells": [{"cell": 1, "sg": 1.2, "temperature": 70}]}
    depot.log("cells_read", {**pilot, "temperature_unit": "°F"}, tags=[battery])
    state = state_of(depot, battery)
    assert len(state.rounds) == 1 and state.done["pilot"]
    assert state.last_temperature["value"] == "21.1"


def test_only_the_last_rounds_and_waterings_stay_in_the_state(depot: Any, battery: str) -> None:
    for _ in range(ROUNDS_KEPT + 3):
        last = depot.log("cells_read", {"cells": CELLS}, tags=[battery])
        depot.log("watered", {"litres": 4}, tags=[battery])
    state = state_of(depot, battery)
    assert len(state.rounds) == ROUNDS_KEPT and state.rounds[-1][1] == last.id
    assert len(state.waterings) == WATERINGS_KEPT


def test_a_voided_round_is_as_if_it_had_not_been(depot: Any, battery: str) -> None:
    before = state_of(depot, battery).to_json()
    event = depot.log("cells_read", {"cells": CELLS}, tags=[battery])
    depot.log("voided", {"event": event.id, "reason": "another battery"}, tags=[battery])
    after = state_of(depot, battery)
    assert after.rounds == [] and after.last_sg is None and "round" not in after.done
    assert before != after.to_json()  # the two events are counted


def test_uses_are_summed_and_what_is_not_known_is_counted(depot: Any, battery: str) -> None:
    used(depot, battery, 60)
    used(depot, battery, None)
    used(depot, battery, 80)
    use = state_of(depot, battery).use
    assert (use["percent"], use["uses"], use["unknown"]) == (140, 3, 1)


def test_the_charger_is_believed_before_the_gauge(depot: Any, battery: str) -> None:
    truck, other = depot.trucks[0], depot.batteries[1]
    depot.change(truck, battery)
    body = {"truck": str(truck), "battery_in": str(other), "battery_out": battery}
    depot.log("changed", {**body, "discharged_percent": 60})
    charge(depot, battery, discharge={"percent": 72.5, "ah": 560, "by": "charger"})
    state = state_of(depot, battery)
    assert state.use["percent"] == 72.5
    assert state.last_discharge["source"] == "charger"


def test_water_tells_what_was_discharged_since_the_last_time(depot: Any, battery: str) -> None:
    depot.log("watered", {"litres": 3}, tags=[battery])
    used(depot, battery, 50)
    used(depot, battery, 70)
    depot.log("watered", {"litres": "4.5", "before": "low"}, tags=[battery])
    used(depot, battery, None)
    depot.log("watered", {"litres": 2}, tags=[battery])
    waterings = state_of(depot, battery).waterings
    assert [one["percent"] for one in waterings] == [0.0, 120, None]
    assert waterings[1]["litres"] == 4.5 and waterings[1]["before"] == "low"


def test_a_charge_that_does_not_count_leaves_the_battery_uncharged(
    depot: Any, battery: str
) -> None:
    depot.change(depot.trucks[0], battery)
    depot.change(depot.trucks[0], depot.batteries[1], out=battery)
    flag = {"code": "short charge", "sentence": "12 s", "severity": "act", "cell": None}
    charge(depot, battery, counts=False, flags=[flag])
    state = state_of(depot, battery)
    assert state.charged_since_use is False and state.charging is None
    assert state.last_charge["flags"] == [flag]
    charge(depot, battery)
    assert state_of(depot, battery).charged_since_use is True
    assert state_of(depot, battery).last_charge["flags"] == []


def test_an_equalize_charge_starts_its_count_anew(depot: Any, battery: str) -> None:
    used(depot, battery, 80)
    assert state_of(depot, battery).use["since_equalize"] == 80
    charge(depot, battery, "equalize")
    state = state_of(depot, battery)
    assert state.use["since_equalize"] == 0 and state.done["equalize"] == state.last_charged_at


def test_a_replaced_cell_begins_a_new_baseline(depot: Any, battery: str) -> None:
    depot.log("repaired", {"sort": "cell replaced", "cells": [11]}, tags=[battery])
    state = state_of(depot, battery)
    assert set(state.new_cells) == {"11"}
    depot.log("repaired", {"sort": "acid adjusted"}, tags=[battery])
    assert set(state_of(depot, battery).new_cells) == {"11", "all"}


def test_a_jumpered_cell_changes_what_verdicts_use(depot: Any, battery: str) -> None:
    less = {"voltage": {"value": "46", "unit": "V", "source": "stamped"}}
    depot.log("repaired", {"sort": "cell jumpered", "cells": [3], "changes": less}, tags=[battery])
    state = state_of(depot, battery)
    assert state.jumpered == [3] and state.nameplate["voltage"]["value"] == "46"
    more = {"voltage": {"value": "48", "unit": "V", "source": "stamped"}}
    depot.log("repaired", {"sort": "cell replaced", "cells": [3], "changes": more}, tags=[battery])
    state = state_of(depot, battery)
    assert state.jumpered == [] and state.nameplate["voltage"]["value"] == "48"


def test_marrying_a_jumpered_battery_elsewhere_brings_its_volts_not_back(
    depot: Any, battery: str
) -> None:
    less = {"voltage": {"value": "46", "unit": "V", "source": "stamped"}}
    depot.log("repaired", {"sort": "cell jumpered", "cells": [3], "changes": less}, tags=[battery])
    stamp = {
        "voltage": {"value": "48", "unit": "V", "source": "stamped"},
        "weight": {"value": "1101", "unit": "kg", "source": "stamped"},
    }
    depot.log("married", {"facts": stamp}, tags=[battery])
    plate = state_of(depot, battery).nameplate
    assert (plate["voltage"]["value"], plate["weight"]["value"]) == ("46", "1101")


def test_findings_stay_to_be_done_until_they_are_settled(depot: Any, battery: str) -> None:
    todo = ["new cap on cell 4", "tighten the lug"]
    event = depot.log("inspected", {"findings": todo, "todo": todo, "passed": True}, tags=[battery])
    state = state_of(depot, battery)
    assert [one["what"] for one in state.todos] == todo
    depot.log("repaired", {"what": "cap", "settles": [f"{event.id}.1"]}, tags=[battery])
    assert [one["what"] for one in state_of(depot, battery).todos] == todo[1:]


def test_a_receipt_may_come_after_the_battery_has_left(depot: Any, battery: str) -> None:
    depot.log("retired", {"reason": "capacity 61 %"}, tags=[battery])
    left = state_of(depot, battery).retired_at
    depot.log("retired", {"reason": "papers", "receipt": "2031/118"}, tags=[battery])
    state = state_of(depot, battery)
    assert (state.retired_at, state.receipt) == (left, "2031/118")


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("watered", {"litres": "much"}),
        ("watered", {"litres": -1}),
        ("watered", {"before": "half full"}),
        ("watered", {"cells": [{"cell": 0, "litres": 1}]}),
        ("cells_read", {"extent": "some"}),
        ("cells_read", {"cells": [{"cell": 1, "sg": 12.8}]}),
        ("cells_read", {"cells": [{"cell": 1, "voltage": 5}]}),
        ("cells_read", {"cells": [{"cell": 1, "temperature": 90}]}),
        ("cells_read", {"cells": [{"cell": 1}, {"cell": 1}]}),
        ("cells_read", {"cells": [{"sg": 1.28}]}),
        ("cells_read", {"cells": [{"cell": True, "sg": 1.28}]}),
        ("cells_read", {"cells": [{"cell": 1, "sg": float("nan")}]}),
        ("capacity_tested", {"minutes": -3}),
        ("leakage_tested", {"ohm": -5}),
        ("repaired", {"sort": "polished"}),
        ("repaired", {"changes": ["voltage"]}),
        ("inspected", {"findings": "cracked"}),
        ("inspected", {"passed": "yes"}),
        ("incident", {"sort": "quarrel"}),
        ("steps_confirmed", {"steps": "all"}),
        ("charge_ended", {"battery": "B", "ah": "lots"}),
        ("charge_ended", {"battery": "B", "current": [["a", "b"]]}),
    ],
)
def test_a_body_that_cannot_be_is_refused_and_not_understood(
    kind: str, body: dict[str, Any]
) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        completed(kind, body)
    assert present_body(kind, 1, body) is None


def test_folding_again_gives_the_same_states(depot: Any, battery: str) -> None:
    used(depot, battery, 60)
    depot.log("cells_read", {"cells": CELLS}, tags=[battery])
    depot.log("watered", {"litres": 4}, tags=[battery])
    before = state_of(depot, battery).to_json()
    depot.record.fold_again()
    assert state_of(depot, battery).to_json() == before


def test_the_state_of_a_busy_battery_stays_small(depot: Any, battery: str) -> None:
    for _ in range(30):
        used(depot, battery, 60)
        depot.log("watered", {"litres": 4}, tags=[battery])
        depot.log("cells_read", {"cells": CELLS}, tags=[battery])
        depot.log("inspected", {"findings": ["cap"], "passed": True}, tags=[battery])
    assert len(state_of(depot, battery).to_json()) < 4000
