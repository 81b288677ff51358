"""The reader's roster: every asset of the site, in every form its label was printed."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from battery_room import BATTERIES, BatteryRoom
from tagkit.jobs import roster
from tagkit.jobs.printing import print_labels
from tagkit.jobs.roster import roster_of
from tagkit.jobs.site import Site
from tagkit.reader.recovery.roster import Roster


def of(found: Roster, number: str) -> set[tuple[str, int, str]]:
    """Payload, version and level of an asset's labels."""
    return {
        (one.payload, one.version, one.level) for one in found.variants if str(one.tag) == number
    }


def print_on(site: Site, number: str, template: str, folder: Path) -> None:
    out = folder / f"{template}.pdf"
    print_labels(site, [number], out, template, by="TS", station="desk")


def test_every_registered_asset_is_in_it(room: BatteryRoom) -> None:
    with room.open() as site:
        assert {str(tag) for tag in roster_of(site)} == set(room.tags.values())


def test_without_a_printed_label_the_sites_usual_form_is_taken(room: BatteryRoom) -> None:
    with room.open() as site:
        assert of(roster_of(site), room["B1"]) == {(room["B1"], 2, "H")}
        labels = replace(site.settings.labels, payload="link", host="labels.example")
        linked = replace(site, settings=replace(site.settings, labels=labels))
        link = f"HTTPS://LABELS.EXAMPLE/A/{room['B1']}"
        assert of(roster_of(linked), room["B1"]) == {(link, 5, "H")}


def test_a_printed_label_counts_as_it_was_printed(room: BatteryRoom, tmp_path: Path) -> None:
    with room.open() as site:
        before = roster_of(site)
        labels = replace(site.settings.labels, payload="link", host="labels.example")
        print_on(replace(site, settings=replace(site.settings, labels=labels)), room["B1"],
                 "battery-side", tmp_path)  # fmt: skip
        after = roster_of(site)
        assert of(after, room["B1"]) != of(before, room["B1"])
        (printed,) = of(after, room["B1"])
        assert printed[0] == f"HTTPS://LABELS.EXAMPLE/A/{room['B1']}"
        # An older label in another form stays in service beside the new one.
        print_on(site, room["B1"], "battery-top", tmp_path)
        assert len(of(roster_of(site), room["B1"])) == 2


def test_it_stays_the_same_object_until_labels_change(room: BatteryRoom, tmp_path: Path) -> None:
    with room.open() as site:
        before = roster_of(site)
        room.charge("B1")
        assert roster_of(site) is before, "a charge changes no label"
        print_on(site, room["B2"], "battery-side", tmp_path)
    with room.open() as site:
        again = roster_of(site)
        # The usual form is what was printed, so that nothing changed after all.
        assert of(again, room["B2"]) == of(before, room["B2"])
        room.take_in(BATTERIES.splitlines()[0] + "\nNEW,48,1100 kg,vented lead-acid,775\n")
        assert room["NEW"] in {str(tag) for tag in roster_of(site)}


def test_only_assets_with_new_events_are_looked_up_again(
    room: BatteryRoom, monkeypatch: pytest.MonkeyPatch
) -> None:
    with room.open() as site:
        roster_of(site)
        looked: list[str] = []
        made = roster._labels
        monkeypatch.setattr(
            roster, "_labels", lambda state, *form: looked.append(state.tag) or made(state, *form)
        )
        room.charge("B1")
        roster_of(site)
        assert sorted(looked) == sorted([room["B1"], room["C1"]])


def test_another_record_in_the_same_place_is_read_anew(
    room: BatteryRoom, empty_site: BatteryRoom
) -> None:
    with room.open() as site:
        assert len(roster_of(site)) == len(room.tags)
    shutil.rmtree(room.folder)
    with empty_site.moved_to(room.folder).open() as site:
        assert len(roster_of(site)) == 0
