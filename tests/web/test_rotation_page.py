"""The rotation list: what goes next and why, time left, what is overdue; live."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from lookup_room import Pages
from tagkit.jobs.hold import hold, release
from tagkit.jobs.people import authorise
from tagkit.web import shared
from tagkit.web.routes import rotation


def order(page: str) -> list[str]:
    """The batteries of the list of all, in order."""
    return re.findall(r'class="name"><a class="tag" href="/A/([^"]+)"', page)


def first(page: str) -> list[str]:
    """The battery that is next, for each group of trucks."""
    return re.findall(r'class="first"><a class="tag" href="/A/([^"]+)"', page)


def test_the_one_rested_longest_is_next(pages: Pages) -> None:
    pages.room.charge("B2", began=60, ended=50)
    page = pages.text("/rotation")
    assert first(page) == [pages["B2"]]
    assert "has rested longest" in page
    assert order(page)[:2] == [pages["B2"], pages["B1"]]


def test_a_resting_battery_counts_down(pages: Pages) -> None:
    pages.room.charge("B2", began=4, ended=1)
    page = pages.text("/rotation")
    assert page.count("data-until=") >= 2
    assert order(page)[:2] == [pages["B1"], pages["B2"]]


def test_a_held_battery_is_passed_over(pages: Pages) -> None:
    with pages.room.open() as site:
        hold(site, pages["B1"], "connector loose", safety=False, by="KM", station="bay-1")
    page = pages.text("/rotation")
    assert first(page) == []
    assert "none is ready" in page
    assert "connector loose" in page


def test_a_battery_released_for_one_use_stands_apart_and_never_as_ready(pages: Pages) -> None:
    with pages.room.open() as site:
        hold(site, pages["B1"], "connector loose", safety=False, by="KM", station="bay-1")
        authorise(site, "SW", "", "supervisor", None, None, by="SW", station="desk")
        given = {"reason": "half full by the gauge", "by": "SW", "station": "desk"}
        release(site, pages["B2"], inspected=False, once=True, **given)
    for address in ("/rotation", f"/rotation?truck={pages['T1']}"):
        page = pages.text(address)
        assert first(page) == [] and "none is ready" in page
        own = page.split("Released for one use")[1].split("</section>")[0]
        assert pages["B2"] in own and "whether it was charged" in own
        assert "not ready" in own and pages["B1"] not in own
    assert "eleased for one use by SW" in pages.text("/today")
    pages.room.charge("B2", began=0.2, ended=None)
    assert "Released for one use" not in pages.text("/rotation")


def test_a_truck_is_told_which_one_and_why_each_other_is_passed_over(pages: Pages) -> None:
    page = pages.text(f"/rotation?truck={pages['T1']}")
    assert first(page) == [pages["B1"]]
    passed = page.split("Passed over")[1]
    assert "no fit" in passed.lower()
    assert pages["LIGHT"] in passed
    assert pages["B2"] in passed


def test_a_held_truck_gets_none(pages: Pages) -> None:
    with pages.room.open() as site:
        hold(site, pages["T1"], "retainer bent", safety=True, by="KM", station="bay-1")
    page = pages.text(f"/rotation?truck={pages['T1']}")
    assert first(page) == []
    assert "retainer bent" in page
    # Its sister of the same plate still takes one.
    page = pages.text("/rotation")
    assert first(page) == [pages["B1"]] and page.count("truck held") == 1
    with pages.room.open() as site:
        hold(site, pages["T2"], "horn", safety=False, by="KM", station="bay-1")
    page = pages.text("/rotation")
    assert first(page) == [] and "the trucks are held" in page and "none is ready" not in page


def test_what_is_no_truck_is_refused(pages: Pages) -> None:
    assert pages.get(f"/rotation?truck={pages['B1']}").status_code == 400
    assert pages.get("/rotation?truck=nonsense").status_code == 400


def test_the_open_page_fetches_the_list_alone(pages: Pages) -> None:
    whole, part = pages.text("/rotation"), pages.text("/rotation/now")
    assert 'sse-connect="/live/changes"' in whole
    assert "<html" not in part
    assert order(part) == order(whole)
    pages.room.run("seen", "B1", "T2", "--by", "KM")
    assert order(pages.text("/rotation/now"))[-1] == pages["B1"]


@pytest.mark.parametrize("page", ["0", "-1", "abc", "999999999"])
def test_pages_that_are_none_do_no_harm(pages: Pages, page: str) -> None:
    assert pages.get(f"/rotation?page={page}").status_code == 200


def test_the_start_page_says_what_the_room_needs(pages: Pages) -> None:
    with pages.room.open() as site:
        hold(site, pages["B2"], "leak at a vent", safety=True, by="KM", station="bay-1")
    page = pages.text("/")
    assert re.search(r"<b>1</b> ready", page)
    assert "leak at a vent" in page


def test_open_pages_share_the_list_until_something_is_recorded(
    pages: Pages, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = []
    whole = rotation.rotation_page

    def counted(*asked: Any) -> Any:
        made.append(asked)
        return whole(*asked)

    monkeypatch.setattr(rotation, "rotation_page", counted)
    monkeypatch.setattr(shared, "OLDEST", timedelta(minutes=9))  # however slow the machine is
    first_seen = [pages.text("/rotation/now") for _ in range(10)]
    assert len(made) == 1
    assert len(set(first_seen)) == 1
    with pages.room.open() as site:
        hold(site, pages["B1"], "connector loose", safety=False, by="KM", station="bay-1")
    assert "connector loose" in pages.text("/rotation/now")
    assert len(made) == 2


def test_another_page_of_the_list_is_not_shared(pages: Pages) -> None:
    assert pages.text("/rotation/now") != pages.text("/rotation/now?page=2")
