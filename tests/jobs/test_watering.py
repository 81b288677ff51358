"""Water: litres, levels, and what a battery's thirst tells."""

from __future__ import annotations

from datetime import timedelta

import pytest
from battery_room import BatteryRoom, ago
from tagkit.errors import WrongInput
from tagkit.jobs.figures import litres, ohms
from tagkit.jobs.site import Site
from tagkit.jobs.watering import Watered, water

WHO = {"by": "PV", "station": "desk"}


@pytest.mark.parametrize(
    ("text", "amount"),
    [("4.5", 4.5), ("4,5 l", 4.5), ("900 ml", 0.9), ("1 gal", 3.785), ("2 qt", 1.893)],
)
def test_water_is_read_in_the_units_of_the_can(text: str, amount: float) -> None:
    assert litres(text) == pytest.approx(amount)


@pytest.mark.parametrize("text", ["", "some", "4 bar", "900 l", "-2"])
def test_an_amount_that_cannot_be_is_named(text: str) -> None:
    with pytest.raises(WrongInput):
        litres(text)


def test_ohms_are_read_with_their_prefix() -> None:
    assert (ohms("4000"), ohms("4.2 kohm"), ohms("2 megohm")) == (4000, 4200, 2e6)


def test_litres_become_overcharge(room: BatteryRoom) -> None:
    found = room.run("water", "B1", "--litres", "8.064 l", "--before", "low", "--json")
    assert found.code == 0, found
    # 8.064 l / (0.000336 l x 24 cells) = 1000 Ah
    assert found.data["overcharge"] == {"value": 1000.0, "unit": "Ah"}
    assert room.state("B1").waterings[-1]["litres"] == 8.064


def test_cells_beside_their_neighbours(room: BatteryRoom) -> None:
    cells = [
        word for cell in range(1, 7) for word in ("--cell", f"{cell}={0.9 if cell == 4 else 0.2}")
    ]
    found = room.run("water", "B1", *cells, "--json")
    assert found.data["litres"]["value"] == pytest.approx(1.9)
    assert [(flag["code"], flag["cell"]) for flag in found.data["flags"]] == [("thirsty cell", 4)]


def test_bare_plates_are_flagged(room: BatteryRoom) -> None:
    found = room.run("water", "B1", "--litres", "4", "--before", "bare", "--json")
    assert [flag["code"] for flag in found.data["flags"]] == ["plates bare"]


def test_water_before_the_charge_is_flagged(room: BatteryRoom) -> None:
    room.charge("B1")
    assert room.run("swap", "T1", "B1", "--by", "KM").code == 0
    room.charge("B2", charger="C2")
    assert room.run("swap", "T1", "B2", "--by", "KM").code == 0
    found = room.run("water", "B1", "--litres", "4", "--json")
    assert [flag["code"] for flag in found.data["flags"]] == ["watered before charging"]


def test_a_sealed_battery_is_never_watered(room: BatteryRoom) -> None:
    room.take_in("Maker's serial,Voltage (V),Service weight,Chemistry\nGEL1,48,1100 kg,gel\n")
    found = room.run("water", "GEL1", "--litres", "4")
    assert found.code == 2 and "never watered" in found.err


@pytest.mark.parametrize("cell", [0, 25])
def test_a_cell_that_the_battery_does_not_have_is_named(room: BatteryRoom, cell: int) -> None:
    found = room.run("water", "B1", "--cell", f"{cell}=0.2")
    assert found.code == 2 and f"no cell {cell}" in found.err


def test_a_thirsty_battery_is_told_beside_its_sisters_and_in_the_morning(room: BatteryRoom) -> None:
    room.take_in("Maker's serial,Voltage (V),Service weight,Chemistry,Capacity C5 (Ah)\n"
                 + "".join(f"D{n},48,1100 kg,vented lead-acid,775\n" for n in range(4)))  # fmt: skip
    with room.open() as site:
        for days in (60, 40, 20, 1):
            for name in ("B1", "D0", "D1", "D2", "D3"):
                amount = "9" if name == "B1" else "3"
                told = water(site, room[name], litres=amount, at=ago(days=days), **WHO)
                if name == "B1":
                    last = told
    assert last.sisters.ratio == pytest.approx(3.0, rel=0.05)
    assert last.flags[-1].code == "drinks more than its sisters"
    flags = room.run("today", "--json").data["flags"]
    assert [one["asset"] for one in flags if one["code"] == "drinks more than its sisters"] == [
        room["B1"]
    ]


def used_and_watered(site: Site, tag: str, truck: str, uses: int, litres: str) -> Watered:
    """Four waterings of a battery, with so many uses of 70 % in each of the times between."""
    told = None
    for place, days in enumerate((60, 40, 20, 1)):
        for use in range(uses if place else 0):
            at = ago(days=days + 20 - 20 * (use + 0.5) / uses)
            for kind, body, hours in (
                ("changed", {"truck": truck, "battery_in": tag, "battery_out": None}, 0),
                ("charge_started", {"battery": tag, "charge_kind": "conventional"}, 2),
                ("charge_ended", {"battery": tag, "counts": True,
                                  "discharge": {"percent": 70, "by": "gauge"}}, 8),
            ):  # fmt: skip
                with site.record.writing(at=at + timedelta(hours=hours), **WHO) as writing:
                    writing.append(kind, [], body)
        told = water(site, tag, litres=litres, at=ago(days=days), **WHO)
    assert told is not None
    return told


def test_who_works_more_may_drink_more_and_who_overcharges_is_found_at_the_usual_litres(
    room: BatteryRoom,
) -> None:
    room.take_in("Maker's serial,Voltage (V),Service weight,Chemistry,Capacity C5 (Ah)\n"
                 + "".join(f"D{n},48,1100 kg,vented lead-acid,775\n" for n in range(4)))  # fmt: skip
    with room.open() as site:
        for name in ("D0", "D1", "D2", "D3"):
            used_and_watered(site, room[name], room["T1"], 4, "3")
        busy = used_and_watered(site, room["B1"], room["T1"], 8, "6")
        overcharged = used_and_watered(site, room["B2"], room["T1"], 2, "3")
    assert busy.thirst.overcharge_percent is not None
    assert busy.sisters.ratio == pytest.approx(1.0, rel=0.05) and not busy.flags
    assert overcharged.sisters.ratio == pytest.approx(2.0, rel=0.05)
    told = [one for one in room.run("today", "--json").data["flags"]
            if one["code"] == "drinks more than its sisters"]  # fmt: skip
    assert [one["asset"] for one in told] == [room["B2"]]


def test_when_water_is_due_again_follows_from_what_it_drank(room: BatteryRoom) -> None:
    with room.open() as site:
        water(site, room["B1"], litres="4", at=ago(days=10), **WHO)
        told = water(site, room["B1"], litres="16", before="at mark", **WHO)
    # 16 l of 24 cells in ten days; a reserve of 0.045 l for each 100 Ah of 775: 8.4 l.
    assert told.due.every_days == pytest.approx(8.37 / 1.6, rel=0.01)
