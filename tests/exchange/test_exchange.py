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


def test_a_battery_recorded_at_two_sites_at_once_is_for_the_lead_to_settle(
    company: Any, clock: Any
) -> None:
    company.site("QA"), company.site("QB")
    battery = company.batteries["QA"][0]
    company.move("QA", battery, "site QB", "elsewhere")
    company.settle("QA", "QB")
    company.move("QB", battery, "stand 1")
    company.settle("QB", "QA")
    assert company.site("QA").contradictions() == company.site("QB").contradictions() == []
    # Both are offline; one of them reads another battery's number.
    clock.move(minutes=5)
    wrong = company.change("QA", company.trucks["QA"][0], battery)
    clock.move(minutes=5)
    right = company.change("QB", company.trucks["QB"][0], battery)
    company.settle("QA", "QB")
    for site in ("QA", "QB"):
        (found,) = company.site(site).contradictions()
        assert (found.kind, found.tags) == ("at two sites", (battery,))
        assert found.events == (wrong.id, right.id)
    company.log("QA", "voided", {"event": wrong.id, "reason": "misread"})
    company.settle("QA", "QB")
    assert company.site("QA").contradictions() == company.site("QB").contradictions() == []
    assert company.state("QA", battery) == company.state("QB", battery)


def test_a_number_that_two_records_of_a_site_gave_out_is_found(
    company: Any, tmp_path: Any, clock: Any
) -> None:
    from tagkit.assets.tag import Kind
    from tagkit.exchange.address import connect
    from tagkit.exchange.round import exchange
    from tagkit.record.backup import backup, restore

    backup(company.site("QA"), tmp_path / "b.tagkit")
    company.site("QA").close()
    twins = [restore(tmp_path / "b.tagkit", tmp_path / name, clock=clock) for name in ("1", "2")]
    tags = set()
    for twin, serial in zip(twins, ("S1", "S2"), strict=True):
        with twin.writing("TS", "desk") as writing:
            tag = writing.issue(Kind.BATTERY)
            tags.add(str(tag))
            plate = {"maker_serial": {"value": serial, "source": "stamped"}}
            writing.append("registered", [tag], {"nameplate": plate})
    assert len(tags) == 1
    for twin in (*twins, *twins):
        with connect(company.addresses["QA"]) as line:
            exchange(twin, line)
    for twin in twins:
        assert {("registered twice", tag) for tag in tags} == {
            (one.kind, one.tags[0]) for one in twin.contradictions()
        }
        twin.close()
