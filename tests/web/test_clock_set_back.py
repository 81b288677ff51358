"""A clock that is set back renews nobody; one wild date in the record locks nobody out."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from access_room import ATTENDANT, LEAD, TECHNICIAN, Room, room
from tagkit.errors import WrongInput
from tagkit.jobs.people import authorise, check_authorised
from tagkit.jobs.site import open_site

BANNER = "clock is behind the record"


@pytest.fixture
def here(tmp_path: Path) -> Iterator[Room]:
    """ATT is authorised until 2031-06-30; it is 2031-05-04."""
    with room(tmp_path, lan=False) as made:
        yield made


def note(here: Room) -> None:
    """Something is recorded now."""
    with open_site(here.folder, here.clock) as site:
        authorise(site, TECHNICIAN, "TE", "technician", None, None, by=LEAD, station="desk")


def goes_on_until(here: Room, last: datetime) -> None:
    """The room works, with a fortnight's pause now and then."""
    while here.clock.now < last:
        here.clock.now = min(last, here.clock.now + timedelta(days=14))
        note(here)


def test_who_ran_out_is_not_let_in_by_setting_the_clock_back(here: Room) -> None:
    goes_on_until(here, datetime(2031, 7, 3, 8, tzinfo=UTC))
    technician = here.client()
    assert here.begin(technician, TECHNICIAN) == 303
    assert here.begin(here.client(), ATTENDANT) == 403
    for back in (datetime(2031, 6, 20, tzinfo=UTC), datetime(2031, 5, 3, tzinfo=UTC),
                 datetime(2000, 1, 1, tzinfo=UTC)):  # fmt: skip
        here.clock.now = back
        client = here.client()
        refused = client.post("/shift/open", data={"who": ATTENDANT})
        assert refused.status_code == 403
        assert "y the record the authorisation of ATT ran out" in refused.text
        assert BANNER in client.get("/").text
        with (
            open_site(here.folder, here.clock) as site,
            pytest.raises(WrongInput, match="behind it"),
        ):
            check_authorised(site, ATTENDANT)
        assert here.begin(here.client(), LEAD) == 303, "others go on working"
    # A shift of before is over: it would last until the clock had caught up.
    assert technician.post("/people", data={"code": "X"}).status_code == 403
    here.clock.now = datetime(2031, 7, 3, 9, tzinfo=UTC)
    assert BANNER not in here.client().get("/").text


def test_one_event_with_a_wild_date_locks_nobody_out(here: Room) -> None:
    today = here.clock.now
    here.clock.now = datetime(2047, 5, 4, tzinfo=UTC)
    note(here)
    here.clock.now = today + timedelta(hours=1)
    client = here.client()
    assert here.begin(client, ATTENDANT) == 303
    assert BANNER not in client.get("/").text
    with open_site(here.folder, here.clock) as site:
        assert site.record.latest().year == 2047, "nothing was recorded since"
        assert site.proved() == here.clock.now
        assert check_authorised(site, ATTENDANT) is None
    note(here)
    with open_site(here.folder, here.clock) as site:
        assert site.record.latest().year == 2031, "what was recorded since puts it in its place"


def test_a_clock_set_back_to_before_a_pause_renews_nobody_either(here: Room) -> None:
    """Even after somebody has recorded something then: more was recorded since the pause than
    fits between its beginning and the time that the clock shows."""
    before = datetime(2031, 6, 29, 12, tzinfo=UTC)
    goes_on_until(here, before)
    for hour in range(15):
        here.clock.now = datetime(2031, 7, 2, 6 + hour, tzinfo=UTC)
        note(here)
    for minutes in (10, 20, 13 * 60):
        here.clock.now = before + timedelta(minutes=minutes)
        note(here)
        with (
            open_site(here.folder, here.clock) as site,
            pytest.raises(WrongInput, match="behind it"),
        ):
            check_authorised(site, ATTENDANT)
    # The clock may as well have been ahead for those hours: then it is right now.
    here.clock.now = before + timedelta(hours=15)
    note(here)
    with open_site(here.folder, here.clock) as site:
        assert site.record.latest() == here.clock.now
        assert check_authorised(site, ATTENDANT) is None
