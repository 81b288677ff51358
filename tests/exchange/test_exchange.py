"""Batteries move between sites, and every site that has held one has its whole history."""

from __future__ import annotations

from typing import Any


def test_a_site_has_its_own_assets_and_not_those_of_others(company: Any) -> None:
    company.site("QA"), company.site("QB")
    company.settle("QA", "QB")
    battery = company.batteries["QA"][0]
    assert company.site("QB").state(battery) is None
    assert company.grave("QA") == company.grave("QB") == []


def test_a_battery_that_was_sent_is_known_before_it_arrives(company: Any) -> None:
    company.site("QA"), company.site("QB")
    battery = company.batteries["QA"][0]
    company.change("QA", company.trucks["QA"][0], battery, station="bay 1")
    company.move("QA", battery, "site QB", "elsewhere")
    company.settle("QA", "QB")
    assert company.state("QB", battery) == company.state("QA", battery)
    assert company.place("QB", battery) == "site QB"
    # Of the truck it was in only some events came: no state is folded from some.
    assert company.site("QB").state(company.trucks["QA"][0]) is None
    assert company.grave("QB") == []


def test_a_battery_found_elsewhere_brings_its_history_along(company: Any) -> None:
    company.site("QA"), company.site("QB")
    battery = company.batteries["QA"][1]
    for number in range(5):
        company.change("QA", company.trucks["QA"][number % 2], battery, station="bay 1")
    company.exchange("QA")
    company.move("QB", battery, "stand 3")
    assert company.site("QB").state(battery).nameplate == {}
    company.settle("QB", "QA")
    assert company.state("QB", battery) == company.state("QA", battery)
    assert company.place("QA", battery) == "stand 3"
    assert company.site("QB").state(battery).events == 7
    assert company.grave("QA") == company.grave("QB") == []


def test_both_sites_go_on_receiving_what_the_other_records(company: Any) -> None:
    company.site("QA"), company.site("QB"), company.site("QC")
    battery = company.batteries["QA"][0]
    company.move("QA", battery, "site QB", "elsewhere")
    company.settle("QA", "QB")
    company.change("QB", company.trucks["QB"][0], battery, station="bay 1")
    company.move("QB", battery, "site QC", "elsewhere")
    company.settle("QB", "QC", "QA")
    company.move("QC", battery, "stand 1", station="workshop")
    company.log("QC", "held", {"asset": battery, "reason": "cracked case", "safety": True})
    company.settle("QC", "QA", "QB")
    states = {company.state(site, battery) for site in ("QA", "QB", "QC")}
    assert len(states) == 1
    assert company.site("QA").state(battery).safety_held
    for site in ("QA", "QB", "QC"):
        assert company.grave(site) == []


def test_an_exchange_with_nothing_new_says_so(company: Any) -> None:
    company.site("QA")
    first, second, third = company.exchange("QA", "QA", "QA")
    assert first.sent == company.site("QA").heads()[0].sequence
    assert (second.sent, second.fetched) == (0, 0)
    assert third.nothing_new
