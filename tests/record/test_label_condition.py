"""What was found on a label stays with its asset, in whatever order it is learnt."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import Any

import pytest
from tagkit.record.record import Record

FOUND = {"verdict": "reprint soon", "unused_error_correction": 0.4, "reasons": ["worn"]}


def test_the_condition_of_the_label_is_in_the_state_with_its_time(depot: Any) -> None:
    battery = depot.batteries[0]
    event = depot.log("label_inspected", {"asset": str(battery), **FOUND})
    condition = depot.record.state(battery).label_condition
    assert (condition["verdict"], condition["unused_error_correction"]) == ("reprint soon", 0.4)
    assert (condition["reasons"], condition["event"], condition["at"]) == (
        ["worn"], event.id, event.moment,
    )  # fmt: skip
    assert depot.record.state(depot.batteries[1]).label_condition is None


def test_a_look_that_is_cancelled_leaves_the_one_before(depot: Any, clock: Any) -> None:
    battery = depot.batteries[0]
    depot.log("label_inspected", {"asset": str(battery), **FOUND})
    clock.move(hours=1)
    later = {"asset": str(battery), "verdict": "good", "unused_error_correction": 1.0}
    event = depot.log("label_inspected", later)
    assert depot.record.state(battery).label_condition["verdict"] == "good"
    depot.log("voided", {"event": event.id, "reason": "another battery"}, tags=[battery])
    assert depot.record.state(battery).label_condition["verdict"] == "reprint soon"


def test_a_verdict_that_does_not_exist_is_a_mistake_of_ours(depot: Any) -> None:
    with pytest.raises(ValueError, match="reprint soon"):
        depot.log(
            "label_inspected",
            {"asset": str(depot.batteries[0]), "verdict": "fine", "unused_error_correction": 1},
        )


def test_states_of_an_older_program_are_folded_again(depot: Any) -> None:
    battery = depot.batteries[0]
    depot.log("label_inspected", {"asset": str(battery), **FOUND})
    depot.record.close()
    # An older program kept the event without knowing what it says about the label.
    with closing(sqlite3.connect(depot.record.path)) as connection, connection:
        connection.execute(
            "UPDATE assets SET state = json_remove(substr(state, 1, length(state) - 9), "
            "'$.label_condition', '$.unknown')"
        )
        connection.execute("UPDATE meta SET value = '1' WHERE name = 'fold_version'")
    with Record.open(depot.folder, clock=depot.clock) as record:
        condition = record.state(battery).label_condition
    assert condition is not None and condition["verdict"] == "reprint soon"
