"""Pictures of the room are read by the real reader, and hold what their list says."""

import csv

import cv2
import pytest
from tagkit.assets.kinds import plate_of
from tagkit.assets.tag import Kind, exact_tag, serials_after, tag_for
from tagkit.demo.history import fleet_tags
from tagkit.demo.pictures import (
    FOREIGN_CODE,
    LIST_NAME,
    Labelled,
    face_of,
    write_pictures,
    write_video,
)
from tagkit.demo.roster import (
    SHOWCASE,
    SITE_CODE,
    TROUBLES,
    delivery_csv,
    first_tags,
    sample_pictures,
)
from tagkit.demo.scenes import battery_case, eaten_by_acid
from tagkit.intake.delivery import read_delivery
from tagkit.intake.sheet import read_sheet
from tagkit.reader.read import read_picture
from tagkit.reader.sources import open_source
from tagkit.reader.tracking import Tracker
from tagkit.reader.watching import Watch


@pytest.fixture(scope="module")
def assets(fleet):
    """The fleet in use and the delivery, with the numbers they get."""
    tags = fleet_tags(fleet)
    known = {
        name: Labelled(tag, plate_of(tag.kind, fleet.state(tag).nameplate))
        for name, tag in tags.items()
    }
    last = max(tag.serial for tag in tags.values() if tag.kind is Kind.BATTERY)
    rows = read_delivery(read_sheet(delivery_csv())).rows
    for row, serial in zip(rows, serials_after(Kind.BATTERY, SITE_CODE, last), strict=False):
        tag = tag_for(Kind.BATTERY, SITE_CODE, serial)
        known[row.plate.maker_serial.value] = Labelled(tag, row.plate)
    return known


@pytest.fixture(scope="module")
def made(assets, tmp_path_factory):
    return write_pictures(tmp_path_factory.mktemp("room"), assets)


def found(path):
    reads = read_picture(cv2.imread(str(path)))
    return {read.tag for read in reads if read.tag}, {read.text for read in reads if not read.tag}


def test_every_picture_is_read_as_its_list_says(made):
    assert len(made) == 9
    for picture in made:
        assert found(picture.path) == (set(picture.tags), set(picture.foreign)), picture.path.name


def test_the_pictures_of_the_showcase_are_there(made, assets):
    shown = {name for picture in made for name in picture.names}
    assert {SHOWCASE.truck, SHOWCASE.fits, SHOWCASE.too_light, SHOWCASE.weight_unknown} <= shown
    assert {TROUBLES.heavy_twin, TROUBLES.light_twin, TROUBLES.label_eaten} <= shown


def test_pictures_of_assets_that_are_not_there_are_left_out(assets, tmp_path):
    one = {SHOWCASE.truck: assets[SHOWCASE.truck]}
    made = write_pictures(tmp_path, one)
    assert [picture.path.name for picture in made] == ["truck-c01.jpg"]
    assert sorted(file.name for file in tmp_path.iterdir()) == [LIST_NAME, "truck-c01.jpg"]


def test_the_committed_samples_hold_what_their_list_says():
    folder = sample_pictures()
    tags = first_tags()
    with (folder / LIST_NAME).open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["Picture"] for row in rows} == {path.name for path in folder.glob("*.jpg")}
    assert any(FOREIGN_CODE in row["Foreign codes"] for row in rows)
    for row in rows:
        numbers = {exact_tag(number) for number in row["Numbers"].split("; ")}
        assert numbers == {tags[name] for name in row["Assets"].split("; ")}
        seen, foreign = found(folder / row["Picture"])
        assert (seen, foreign) == (numbers, {row["Foreign codes"]} - {""}), row["Picture"]
    assert sum(path.stat().st_size for path in folder.iterdir()) < 1_500_000


def test_the_video_shows_first_the_truck_and_then_the_battery(assets, tmp_path):
    truck, battery = assets[SHOWCASE.truck], assets[SHOWCASE.fits]
    frames = write_video(tmp_path / "change.avi", truck, battery)
    watch, tracker, seen, count = Watch(), Tracker(), [], 0
    with open_source(tmp_path / "change.avi") as source:
        for frame in source:
            count += 1
            sighting = tracker.update(watch.read(frame.picture), frame.at, frame.still)
            seen += [read.tag for read in sighting.seen]
    assert count == frames
    assert seen == [truck.tag, battery.tag]


def test_acid_bleaches_about_the_share_it_is_told(assets):
    face = face_of(assets[TROUBLES.label_eaten])
    for share in (0.05, 0.2, 0.5):
        eaten = eaten_by_acid(face, share=share)
        changed = (abs(eaten.pixels.astype(int) - face.pixels).max(axis=2) > 60).mean()
        dark = (face.pixels.max(axis=2) < 100).mean()  # only dark parts change by much
        assert 0.3 * share * dark < changed < 1.6 * share
        assert (eaten.width, eaten.height) == (face.width, face.height)


def test_a_case_is_drawn_to_scale(assets):
    face = face_of(assets[SHOWCASE.fits])
    assert (face.width, face.height) == (150, 100)
    surface = battery_case(face)
    bright = (surface.pixels.min(axis=2) > 150).any(axis=1)
    assert bright.sum() > 0.5 * face.height * surface.pixels.shape[0] / surface.height
