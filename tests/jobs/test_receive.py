"""Taking a delivery in: whole or not at all, and nothing twice."""

from __future__ import annotations

from pathlib import Path

import pytest
from battery_room import BATTERIES, TRUCKS, BatteryRoom, ended
from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.jobs.receive import receive

GOOD_AND_BAD = """\
Maker's serial,Voltage (V),Service weight,Chemistry
S1,48,1100 kg,vented lead-acid
S2,48,eleven hundred,vented lead-acid
S3,48,1100 kg,vented lead-acid
"""


def serials(room: BatteryRoom) -> list[str | None]:
    with room.open() as site:
        return [state.maker_serial for state in site.record.states(Kind.BATTERY)]


def test_one_bad_row_stops_the_whole_delivery(empty_room: BatteryRoom) -> None:
    sheet = empty_room.sheet(GOOD_AND_BAD)
    before = empty_room.count()
    found = empty_room.run("receive", sheet, "--json")
    assert found.code == 2
    assert found.data["taken"] == []
    (bad,) = found.data["rejected"]
    assert set(bad) == {"row", "column", "value", "problem", "remedy"}
    assert (bad["row"], bad["column"], bad["value"]) == (3, "Service weight", "eleven hundred")
    assert bad["remedy"]
    assert empty_room.count() == before
    assert not sheet.with_name("sheet-to-mend.csv").exists()


def test_the_report_says_what_is_wrong_and_how_many_are_good(empty_room: BatteryRoom) -> None:
    found = empty_room.run("receive", empty_room.sheet(GOOD_AND_BAD))
    assert "REJECTED     row 3, Service weight:" in found.out
    assert "2 are good (--keep-good takes those)" in found.out


def test_the_next_step_names_the_options_that_each_kind_needs(empty_room: BatteryRoom) -> None:
    found = empty_room.run("receive", empty_room.sheet(TRUCKS))
    assert "marry TAG --serial … --voltage … --weight-min … --weight-max …" in found.out
    mixed = "Kind,Serial,Voltage (V)\nBattery,NB1,48\nCharger,NC1,48\n"
    found = empty_room.run("receive", empty_room.sheet(mixed))
    assert "battery: tagkit marry TAG --serial … --voltage … --weight …" in found.out
    assert "charger: tagkit marry TAG --serial … --voltage …\n" in found.out


def test_keep_good_takes_the_good_rows_and_gives_the_bad_ones_back(
    empty_room: BatteryRoom,
) -> None:
    sheet = empty_room.sheet(GOOD_AND_BAD)
    found = empty_room.run("receive", sheet, "--keep-good", "--json")
    assert found.code == 14
    assert [row["maker_serial"] for row in found.data["taken"]] == ["S1", "S3"]
    assert [row["row"] for row in found.data["taken"]] == [2, 4]
    rest = Path(found.data["rest"])
    text = rest.read_text(encoding="utf-8")
    assert "S2" in text
    assert "S1" not in text

    rest.write_text(text.replace("eleven hundred", "1105 kg"), encoding="utf-8")
    mended = empty_room.run("receive", rest, "--json")
    assert (mended.code, mended.data["rejected"]) == (0, [])
    assert [row["maker_serial"] for row in mended.data["taken"]] == ["S2"]
    assert sorted(map(str, serials(empty_room))) == ["S1", "S2", "S3"]


def test_the_file_to_mend_is_not_overwritten_unless_forced(empty_room: BatteryRoom) -> None:
    sheet = empty_room.sheet(GOOD_AND_BAD)
    rest = sheet.with_name("bad.csv")
    rest.write_text("mine", encoding="utf-8")
    command = ("receive", sheet, "--keep-good", "--rest", rest)
    refused = empty_room.run(*command)
    assert refused.code == 2
    assert str(rest) in refused.err
    assert rest.read_text(encoding="utf-8") == "mine"
    assert serials(empty_room) == []
    assert empty_room.run(*command, "--force").code == 14
    assert "S2" in rest.read_text(encoding="utf-8")


def test_a_dry_run_changes_nothing(empty_room: BatteryRoom) -> None:
    sheet = empty_room.sheet(BATTERIES)
    before = empty_room.count()
    pdf = sheet.with_name("labels.pdf")
    found = empty_room.run("receive", sheet, "--dry-run", "--labels", pdf, "--json")
    assert (found.code, found.data["dry_run"]) == (0, True)
    assert [row["tag"] for row in found.data["taken"]] == [None] * 5
    assert [row["maker_serial"] for row in found.data["taken"]][:2] == ["B1", "B2"]
    assert empty_room.count() == before
    assert not pdf.exists()
    assert empty_room.run("receive", sheet, "--dry-run").code == 0


def test_a_dry_run_of_a_bad_sheet_ends_as_the_real_one_would(empty_room: BatteryRoom) -> None:
    sheet = empty_room.sheet(GOOD_AND_BAD)
    assert empty_room.run("receive", sheet, "--dry-run").code == 2
    assert empty_room.run("receive", sheet, "--dry-run", "--keep-good").code == 14
    assert not sheet.with_name("sheet-to-mend.csv").exists()
    assert serials(empty_room) == []


def test_as_stamped_needs_no_marrying(empty_room: BatteryRoom) -> None:
    empty_room.take_in(BATTERIES)
    state = empty_room.state("B1")
    assert state.as_stamped
    assert state.nameplate["weight"]["source"] == "stamped"
    assert empty_room.run("where", "B1", "--json").data["state"] == "not ready"


def test_a_suppliers_sheet_is_catalogue_until_married(empty_room: BatteryRoom) -> None:
    empty_room.take_in(BATTERIES, as_stamped=False)
    state = empty_room.state("B1")
    assert not state.as_stamped
    assert state.nameplate["weight"]["source"] == "catalogue"
    assert empty_room.run("where", "B1", "--json").data["state"] == "not married yet"


def test_numbers_follow_the_order_of_unloading(empty_room: BatteryRoom) -> None:
    empty_room.take_in(BATTERIES)
    with empty_room.open() as site:
        states = list(site.record.states(Kind.BATTERY))
    assert [state.unloading for state in states] == [1, 2, 3, 4, 5]
    assert [state.maker_serial for state in states] == ["B1", "B2", "B3", "LIGHT", "SMALL"]
    assert {state.delivery for state in states} == {"sheet.csv"}


def test_a_serial_that_is_in_the_record_is_sent_back(empty_room: BatteryRoom) -> None:
    empty_room.take_in(BATTERIES)
    again = empty_room.sheet(
        "Maker's serial,Voltage (V),Service weight\nNEW,48,900 kg\nb1,48,900 kg\n"
    )
    found = empty_room.run("receive", again, "--json")
    assert found.code == 2
    (bad,) = found.data["rejected"]
    assert (bad["row"], bad["value"]) == (3, "b1")
    assert empty_room["B1"] in bad["problem"]


def test_a_truck_without_a_serial_is_not_taken_in_twice(empty_room: BatteryRoom) -> None:
    text = "Fleet number,Voltage (V),Battery weight min,Battery weight max\nT7,48,1000 kg,1200 kg\n"
    empty_room.take_in(text)
    found = empty_room.run("receive", empty_room.sheet(text), "--json")
    assert found.code == 2
    (bad,) = found.data["rejected"]
    assert (bad["row"], bad["column"], bad["value"]) == (2, "Fleet number", "T7")
    assert empty_room["T7"] in bad["problem"]
    # Its number is free again once it has left.
    assert empty_room.run("retire", "T7", "--reason", "sold").code == 0
    assert empty_room.run("receive", empty_room.sheet(text)).code == 0


def test_an_empty_sheet_says_so(empty_room: BatteryRoom) -> None:
    found = empty_room.run("receive", empty_room.sheet("Maker's serial,Voltage (V)\n"))
    assert found.code == 2
    assert "nothing stands below the headers of row 1" in found.err


@pytest.mark.parametrize("name", ["no such.csv", "."])
def test_a_sheet_that_is_not_there_is_named(empty_room: BatteryRoom, name: str) -> None:
    found = empty_room.run("receive", empty_room.folder.parent / name)
    assert found.code in (2, 3)
    assert str(empty_room.folder.parent) in found.err


def test_labels_are_printed_proofed_and_recorded(empty_room: BatteryRoom) -> None:
    sheet = empty_room.sheet(TRUCKS)
    pdf = sheet.with_name("labels.pdf")
    found = empty_room.run("receive", sheet, "--labels", pdf, "--json")
    assert found.code == 0, found.err
    labels = found.data["labels"]
    assert (labels["labels"], labels["pages"], labels["file"]) == (2, 1, str(pdf))
    assert labels["symbols_read_back"] >= 2
    assert pdf.read_bytes().startswith(b"%PDF")
    empty_room.learn(found.data["taken"])
    assert empty_room.state("T1").label_revision == 1
    (label,) = empty_room.state("T1").labels
    assert label["payload"] == empty_room["T1"]
    assert not list(sheet.parent.glob(".*part*"))


def test_labels_are_not_printed_over_another_file(empty_room: BatteryRoom) -> None:
    sheet = empty_room.sheet(TRUCKS)
    pdf = sheet.with_name("labels.pdf")
    pdf.write_text("mine", encoding="utf-8")
    before = empty_room.count()
    found = empty_room.run("receive", sheet, "--labels", pdf)
    assert found.code == 2
    assert "--force" in found.err
    assert (pdf.read_text(encoding="utf-8"), empty_room.count()) == ("mine", before)
    assert empty_room.run("receive", sheet, "--labels", pdf, "--force").code == 0
    assert pdf.read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("labels", "template", "named"),
    [
        ("labels.pdf", "no-such-template", "no-such-template"),
        ("labels.docx", "sheet-a4", ".docx"),
        ("nowhere/labels.pdf", "sheet-a4", "nowhere"),
    ],
)
def test_labels_that_can_not_be_printed_stop_the_delivery_before_it_is_taken_in(
    empty_room: BatteryRoom, labels: str, template: str, named: str
) -> None:
    sheet = empty_room.sheet(TRUCKS)
    before = empty_room.count()
    out = sheet.parent / labels
    found = empty_room.run("receive", sheet, "--labels", out, "--template", template)
    assert found.code in (2, 3)
    assert named in found.err
    assert empty_room.count() == before


def test_a_template_that_is_not_for_trucks_stops_the_delivery(empty_room: BatteryRoom) -> None:
    from tagkit.jobs.printing import list_templates

    if "battery-side" not in [name for name, _ in list_templates()]:
        pytest.fail("the template for batteries is gone: name another one here")
    sheet = empty_room.sheet(TRUCKS)
    before = empty_room.count()
    out = sheet.with_name("labels.pdf")
    found = empty_room.run("receive", sheet, "--labels", out, "--template", "battery-side")
    assert found.code == 2
    assert "battery-side" in found.err
    assert (empty_room.count(), out.exists()) == (before, False)


def test_a_broken_template_names_file_and_key(empty_room: BatteryRoom) -> None:
    mine = empty_room.sheet('name = "mine"\nwidth = "wide"\n', "mine.toml")
    sheet = empty_room.sheet(TRUCKS)
    out = sheet.with_name("labels.pdf")
    found = empty_room.run("receive", sheet, "--labels", out, "--template", mine)
    assert found.code == 2
    assert "mine.toml" in found.err
    assert serials(empty_room) == []


def test_labels_that_fail_after_the_delivery_say_that_it_is_taken_in(
    empty_room: BatteryRoom, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tagkit.jobs import proof

    monkeypatch.setattr(proof, "decode_all", lambda *_: ["something else"])
    sheet = empty_room.sheet(TRUCKS)
    pdf = sheet.with_name("labels.pdf")
    found = empty_room.run("receive", sheet, "--labels", pdf, "--json")
    assert found.code == 14
    assert len(found.data["taken"]) == 2
    assert "reads as something else" in found.data["labels_problem"]
    assert "the delivery is taken in" in found.err
    assert not pdf.exists()
    empty_room.learn(found.data["taken"])
    assert empty_room.state("T1").labels == []


def test_what_goes_wrong_before_the_end_takes_nothing_in(empty_room: BatteryRoom) -> None:
    before = empty_room.count()

    def fall_over(taken: object) -> None:
        raise RuntimeError("the program fell over")

    with empty_room.open() as site, pytest.raises(RuntimeError):
        receive(
            site, empty_room.sheet(GOOD_AND_BAD), by="TS", station="desk", keep_good=True,
            before_commit=fall_over,
        )  # fmt: skip
    assert empty_room.count() == before
    assert not (empty_room.folder.parent / "sheet-to-mend.csv").exists()


def test_somebody_elses_delivery_meanwhile_is_noticed(empty_room: BatteryRoom) -> None:
    """Between reading the sheet and writing it down another process took the same one in."""
    sheet = empty_room.sheet(BATTERIES)
    from tagkit.jobs import receive as job

    read = job.read_delivery

    def read_slowly(*given: object, **options: object) -> object:
        delivery = read(*given, **options)  # type: ignore[arg-type]
        with empty_room.open() as other:
            job.read_delivery = read  # type: ignore[assignment]
            receive(other, sheet, by="KM", station="bay-1")
        return delivery

    job.read_delivery = read_slowly  # type: ignore[assignment]
    try:
        with empty_room.open() as site, pytest.raises(WrongInput, match="a moment ago"):
            receive(site, sheet, by="TS", station="desk")
    finally:
        job.read_delivery = read  # type: ignore[assignment]
    assert sorted(map(str, serials(empty_room))) == ["B1", "B2", "B3", "LIGHT", "SMALL"]


def test_two_processes_with_the_same_sheet_take_it_in_once(empty_room: BatteryRoom) -> None:
    sheet = empty_room.sheet(BATTERIES)
    both = [empty_room.start("receive", sheet, "--by", by) for by in ("TS", "KM")]
    outcomes = [ended(one) for one in both]
    assert sorted(one.code for one in outcomes) == [0, 2], outcomes
    loser = next(one for one in outcomes if one.code == 2)
    assert "B-QM-" in loser.out + loser.err
    assert sorted(map(str, serials(empty_room))) == ["B1", "B2", "B3", "LIGHT", "SMALL"]
    assert empty_room.is_sound()


def test_the_rows_to_mend_never_replace_the_delivery(empty_room: BatteryRoom) -> None:
    sheet = empty_room.sheet("Serial,Voltage,Weight\nA1,48 V,1142 kg\nA2,48 V,heavy\n")
    before = sheet.read_bytes()
    found = empty_room.run("receive", sheet, "--keep-good", "--rest", sheet, "--force")
    assert found.code == 2
    assert sheet.read_bytes() == before
    assert empty_room.run("list", "--json").data["assets"] == []


def test_the_same_warning_of_several_rows_is_said_once(room: BatteryRoom) -> None:
    sheet = room.sheet(
        "Maker's serial,Voltage (V),Service weight,Dimensions\n"
        "N1,48,1100 kg,80 x 90 x 70 cm\nN2,48,1100 kg,80 x 90 x 70 cm\n"
    )
    found = room.run("receive", sheet, "--dry-run")
    said = "80 x 90 x 70 cm is taken as length × width × height"
    assert (found.code, " ".join(found.out.split()).count(said)) == (0, 1), found
    assert f"rows 2, 3: {said}" in " ".join(found.out.split())


ALIKE = """\
Maker's serial,Voltage (V),Service weight (kg),Chemistry,Weight of the battery (kg),Capacity C5 (Ah)
S1,48,1100,vented lead-acid,1290,775
S2,48,1105,vented lead-acid,1295,775
"""


def test_two_columns_that_state_the_same_are_named_with_the_option_that_chooses(
    empty_room: BatteryRoom,
) -> None:
    sheet = empty_room.sheet(ALIKE)
    asked = empty_room.run("receive", sheet)
    assert asked.code == 2
    assert "“Service weight (kg)” (C) and “Weight of the battery (kg)” (E)" in asked.err
    assert "--leave-out E" in asked.err and "column C counts" in asked.err


@pytest.mark.parametrize(
    ("left_out", "weight"),
    [("E", "1100"), ("weight of the battery (kg)", "1100"), ("c", "1290"),
     ("Service  weight (kg)", "1290")],
)  # fmt: skip
def test_the_column_that_is_not_left_out_counts(
    empty_room: BatteryRoom, left_out: str, weight: str
) -> None:
    found = empty_room.run(
        "receive", empty_room.sheet(ALIKE), "--leave-out", left_out, "--json", "--by", "TS"
    )
    assert found.code == 0, found.err
    empty_room.learn(found.data["taken"])
    assert empty_room.state("S1").nameplate["weight"]["value"] == weight


@pytest.mark.parametrize("left_out", ["K", "Colour", "", "Chemistry"])
def test_a_column_that_is_not_there_is_answered_with_those_that_are(
    empty_room: BatteryRoom, left_out: str
) -> None:
    text = ALIKE.replace("Capacity C5 (Ah)", "Chemistry")
    found = empty_room.run("receive", empty_room.sheet(text), "--leave-out", left_out)
    assert found.code == 2
    assert "--leave-out" in found.err
    told = "D or F" if left_out == "Chemistry" else "E “Weight of the battery (kg)”"
    assert told in found.err
