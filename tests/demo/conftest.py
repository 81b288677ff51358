"""Quillmoor's fleet, taken in from its sheets."""

from datetime import UTC, datetime, timedelta

import pytest
from tagkit.assets.fields import stored_plate
from tagkit.assets.stated import Source
from tagkit.demo.history import DemoClock, history_start
from tagkit.demo.roster import SITE_CODE, fleet_sheets
from tagkit.intake.delivery import read_delivery
from tagkit.intake.sheet import read_sheet
from tagkit.record.record import Record


def _take_in(record: Record) -> None:
    for sheet in fleet_sheets():
        delivery = read_delivery(read_sheet(sheet.path), source=Source.STAMPED)
        assert not delivery.rejected and not delivery.warnings
        with record.writing("SW", "desk") as writing:
            for row in delivery.rows:
                assert row.kind is sheet.kind and not row.warnings
                writing.append(
                    "registered",
                    [writing.issue(row.kind)],
                    {"nameplate": stored_plate(row.plate), "as_stamped": True, "row": row.row},
                )


@pytest.fixture(scope="session")
def take_in_fleet():
    """Takes the fleet in use into a record, as ``receive --as-stamped`` does."""
    return _take_in


@pytest.fixture(scope="session")
def fleet(tmp_path_factory):
    """A record with the fleet in use and nothing that has happened yet."""
    clock = DemoClock(history_start(datetime(2026, 5, 20, tzinfo=UTC)) - timedelta(days=1))
    with Record.create(tmp_path_factory.mktemp("fleet"), SITE_CODE, clock=clock) as record:
        _take_in(record)
        yield record
