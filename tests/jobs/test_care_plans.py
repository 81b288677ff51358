"""Planning from the record: ventilation, pool, retirement, acid."""

from __future__ import annotations

import pytest
from battery_room import BatteryRoom

GASSING = """\
Bay,Maker's serial,Output voltage (V),Chemistries,Capacity min (Ah),Capacity max (Ah),Characteristic
D1,CW,48,vented lead-acid,500,900,IU
"""


def retired(room: BatteryRoom, *names: str) -> None:
    for name in names:
        assert room.run("retire", name, "--reason", "sold", "--receipt", "1").code == 0


def test_air_follows_from_chargers_and_the_largest_battery_they_charge(room: BatteryRoom) -> None:
    retired(room, "C1", "C2", "C24")
    room.take_in(GASSING)
    found = room.run("plan", "ventilation", "--room", "500", "--opening", "9000", "--json").data
    # 0.055 x 24 cells x 2 A for 100 Ah of 775 Ah = 20.5 m³/h by the guidance to EN IEC 62485-3
    assert found["europe"]["air"]["value"] == pytest.approx(20.5, abs=0.05)
    # 5 A for 100 Ah, 0.4565 l an Ah and cell, to 1 %: 42.5 m³/h
    assert found["us"]["air"]["value"] == pytest.approx(42.5, abs=0.1)
    assert found["governs"] == "us" and found["natural"] is True
    assert found["unknown"] == [] and any("24 cells" in line for line in found["us"]["derivation"])
    assert found["notes"]


def test_a_charger_of_unknown_profile_makes_the_figure_a_lower_bound(room: BatteryRoom) -> None:
    found = room.run("plan", "ventilation", "--json").data
    assert found["lower_bound"] is True and len(found["unknown"]) == 3
    out = room.run("plan", "ventilation").out
    assert out.startswith("at least") and "not known" in out


def test_the_pool_is_played_through_and_gives_the_same_again(room: BatteryRoom) -> None:
    words = ("plan", "pool", "--days", "5", "--use", "8", "--json")
    found = room.run(*words)
    assert found.code == 0, found
    assert found.data == room.run(*words).data
    (group,) = found.data["trucks"]
    assert (group["trucks"], group["use_percent_per_hour"]) == (2, 8)
    assert found.data["batteries"] == {"48 V trucks": 3}
    assert found.data["changes"] > 0
    more = room.run("plan", "pool", "--days", "5", "--use", "8", "--batteries", "48 V trucks=8",
                    "--chargers", "48 V chargers=8", "--json").data  # fmt: skip
    assert more["waited"] <= found.data["waited"]


def test_the_fewest_that_serve_are_found(room: BatteryRoom) -> None:
    found = room.run("plan", "pool", "--days", "4", "--use", "5", "--shifts", "6-14", "--least",
                     "--service", "95", "--json").data  # fmt: skip
    least = found["least"]["batteries"]["48 V trucks"]
    assert least is None or least >= 2


@pytest.mark.parametrize(
    "wrong",
    [("--shifts", "22-6"), ("--shifts", "day"), ("--batteries", "x"), ("--batteries", "12 V=3"),
     ("--batteries", "48 V trucks=1")],
)  # fmt: skip
def test_plans_that_cannot_be_are_refused(room: BatteryRoom, wrong: tuple[str, str]) -> None:
    found = room.run("plan", "pool", *wrong)
    assert found.code == 2, found


def test_a_room_without_trucks_says_so(empty_room: BatteryRoom) -> None:
    assert empty_room.run("plan", "pool").code == 2
    assert empty_room.run("plan", "retirement").code == 0
    assert empty_room.run("plan", "acid", "--json").data["counted"] == 0
    assert empty_room.run("plan", "ventilation", "--json").data["air"]["value"] == 0


def test_the_retirement_list_shows_each_sign_with_its_share(room: BatteryRoom) -> None:
    room.staff()
    assert room.run("test", "capacity", "B2", "--current", "155 A", "--minutes", "200",
                    "--temperature", "30 °C", "--by", "JT").code == 0  # fmt: skip
    found = room.run("plan", "retirement", "--json").data["batteries"]
    assert len(found) == 5
    shares = {share["name"]: share for share in found[0]["shares"]}
    assert set(shares) == {
        "capacity test", "life used", "suspect cells", "spread of cells", "water", "age",
    }  # fmt: skip
    assert all(
        share["points"] is None or share["points"] <= share["most"] for share in shares.values()
    )


def test_acid_is_counted_from_the_batteries(room: BatteryRoom) -> None:
    retired(room, "B2", "B3", "LIGHT", "SMALL")
    found = room.run("plan", "acid", "--json").data
    # a quarter of 1,100 kg is electrolyte; at 1.280 about 37 % of that is acid
    assert found["electrolyte"]["value"] == 275 and found["counted"] == found["assumed"] == 1
    assert found["acid"]["value"] == pytest.approx(0.37 * 275, rel=0.03)
    assert found["reported"] is False


def test_the_ventilation_plan_names_the_command_for_what_is_not_known(room: BatteryRoom) -> None:
    found = room.run("plan", "ventilation").out
    assert "charging profile not known" in found
    assert "tagkit amend CHARGER --set FIELD=VALUE" in found
    known = room.run("plan", "ventilation", "--json").data
    assert any("tagkit amend" in note for note in known["notes"]) == bool(known["unknown"])


def test_shifts_are_the_sites_own(room: BatteryRoom) -> None:
    path = room.folder / "site.toml"
    text = path.read_text(encoding="utf-8")
    assert 'shifts = "6-14, 14-22, 22-30"' in text
    path.write_text(text.replace("6-14, 14-22, 22-30", "7-15, 15-23"), encoding="utf-8")
    notes = room.run("plan", "pool", "--days", "2", "--use", "8", "--json").data["notes"]
    assert any("7-15 h, 15-23 h" in note for note in notes)
    path.write_text(text.replace("6-14, 14-22, 22-30", "22-6"), encoding="utf-8")
    refused = room.run("plan", "pool")
    assert refused.code == 2 and "[schedule] shifts" in refused.err


def test_a_battery_counts_only_for_trucks_that_the_rules_say_it_fits(room: BatteryRoom) -> None:
    room.take_in(
        "Maker's serial,Voltage (V),Service weight,Chemistry,Capacity C5 (Ah),Connector\n"
        "GEL,48,1100 kg,gel,775,grey\n"
        "NONE,48,1100 kg,,775,grey\n"
        "RED,48,1100 kg,vented lead-acid,775,red\n"
        "PLUGLESS,48,1100 kg,vented lead-acid,775,\n"
    )
    room.take_in(
        "Fleet number,Maker's serial,Voltage (V),Battery weight min,Battery weight max,"
        "Allowed chemistries,Connector\nT9,TS-9,48,1000 kg,1200 kg,vented lead-acid,red\n"
    )
    found = room.run("plan", "pool", "--days", "3", "--use", "8", "--json").data
    groups = {tuple(one["trucks"]): one for one in found["counted_for"]}
    open_to_all = groups[tuple(sorted((room["T1"], room["T2"])))]
    assert set(open_to_all["fitting"]) == {
        room[one] for one in ("B1", "B2", "B3", "RED", "PLUGLESS")
    }
    (red,) = [one for trucks, one in groups.items() if trucks == (room["T9"],)]
    assert red["fitting"] == red["counted"] == [room["RED"]]
    assert room["RED"] not in open_to_all["counted"]  # it is counted once
    assert "red" in red["group"] and red["group"] != open_to_all["group"]
    left = {tag: one["reason"] for one in found["left_out"] for tag in one["numbers"]}
    assert left[room["GEL"]] == "no charger fits: not by chemistry"
    assert left[room["NONE"]] == "no charger fits: chemistry not confirmed"
    assert left[room["LIGHT"]] == "no truck fits: not by weight"
    assert left[room["SMALL"]] == "no truck of their voltage"
    assert f"{room['RED']}" in room.run("plan", "pool", "--days", "3", "--use", "8").out


def test_a_charger_whose_connector_differs_charges_none_of_the_pool(room: BatteryRoom) -> None:
    room.staff()
    for name, colour in (
        ("B1", "grey"),
        ("B2", "grey"),
        ("B3", "grey"),
        ("C1", "red"),
        ("C2", "red"),
    ):
        assert room.run("amend", name, "--set", f"connector={colour}", "--reason", "read off it",
                        "--second", "JT", "--by", "SW").code == 0  # fmt: skip
    found = room.run("plan", "pool", "--days", "3", "--use", "8")
    assert found.code == 2 and "no truck with a battery" in found.err


@pytest.mark.parametrize(
    "plan", [("ventilation",), ("pool", "--days", "2"), ("retirement",), ("acid",)]
)
def test_that_a_plan_is_written_to_its_file_is_said_last(
    room: BatteryRoom, plan: tuple[str, ...]
) -> None:
    file = room.folder.parent / "plan.pdf"
    found = (
        room.run("plan", *plan, "--use", "5", "--out", file)
        if plan[0] == "pool"
        else (room.run("plan", *plan, "--out", file))
    )
    assert found.code == 0, found.err
    assert found.out.splitlines()[-1] == f"{file} is written." and file.exists()


def test_the_lines_of_a_room_s_air_stand_whole_beside_each_other(room: BatteryRoom) -> None:
    import pypdfium2

    file = room.folder.parent / "air.pdf"
    assert room.run("plan", "ventilation", "--out", file).code == 0
    text = pypdfium2.PdfDocument(file)[0].get_textpage().get_text_range()
    lines = [line for line in text.splitlines() if "of hydrogen; at 1%" in line]
    assert lines and all(line.rstrip().endswith("m³/h") for line in lines)


def test_a_battery_to_retire_takes_one_line(room: BatteryRoom) -> None:
    import pypdfium2

    room.staff()
    assert room.run("test", "capacity", "B2", "--current", "155 A", "--minutes", "290",
                    "--temperature", "30 °C", "--by", "JT").code == 0  # fmt: skip
    file = room.folder.parent / "retire.pdf"
    assert room.run("plan", "retirement", "--out", file).code == 0
    lines = pypdfium2.PdfDocument(file)[0].get_textpage().get_text_range().splitlines()
    (row,) = (line for line in lines if room["B2"] in line)
    assert "% of rated" in row
