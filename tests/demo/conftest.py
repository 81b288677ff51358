"""Quillmoor's fleet, taken in from its sheets."""

from datetime import UTC, datetime, timedelta

import pytest
from tagkit.assets.fields import stored_plate
from tagkit.assets.stated import Source
from tagkit.demo.history import DemoClock, fleet_tags, history_start, write_history
from tagkit.demo.roster import SITE_CODE, fleet_sheets
from tagkit.intake.delivery import read_delivery
from tagkit.intake.sheet import read_sheet
from tagkit.record.record import Record

UNTIL = datetime(2026, 5, 20, 10, 40, tzinfo=UTC)


def take_in_fleet(record: Record) -> None:
    for sheet in fleet_sheets():
        delivery = read_delivery(read_sheet(sheet.path), source=Source.STAMPED)
        assert not delivery.rejected, delivery.rejected[0]
        with record.writing("SW", "desk") as writing:
            for row in delivery.rows:
                assert row.kind is sheet.kind
                tag = writing.issue(row.kind)
                writing.append(
                    "registered",
                    [tag],
                    {"nameplate": stored_plate(row.plate), "as_stamped": True, "row": row.row},
                )


@pytest.fixture(scope="session")
def fleet(tmp_path_factory):
    """A record with the fleet in use and nothing that has happened yet."""
    clock = DemoClock(history_start(UNTIL) - timedelta(days=1))
    with Record.create(tmp_path_factory.mktemp("fleet"), SITE_CODE, clock=clock) as record:
        take_in_fleet(record)
        yield record


@pytest.fixture(scope="session")
def year(tmp_path_factory):
    """A record with the whole year; read it, don't write."""
    clock = DemoClock(history_start(UNTIL) - timedelta(days=1))
    with Record.create(tmp_path_factory.mktemp("year"), SITE_CODE, clock=clock) as record:
        take_in_fleet(record)
        write_history(record, fleet_tags(record), UNTIL, clock=clock)
        yield record
