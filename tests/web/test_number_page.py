"""The page behind a label: what, where, since when, may it be used; and what is done there."""

from __future__ import annotations

import io

import pytest
from lookup_room import Pages
from PIL import Image
from tagkit.jobs.hold import hold
from tagkit.jobs.photos import LARGEST_BYTES
from tagkit.jobs.void import void


def photo(side: int = 40, kind: str = "JPEG") -> bytes:
    made = io.BytesIO()
    exif = Image.Exif()
    exif[0x010E] = "taken in the aisle"
    Image.new("RGB", (side, side), "#804020").save(made, kind, exif=exif)
    return made.getvalue()


def report(pages: Pages, number: str, files: list[bytes] | None = None, **fields: str):
    given = {"words": "cable rubs on the lug", "stop": "no", "once": "key-1", **fields}
    sent = [("photos", ("seen.jpg", one, "image/jpeg")) for one in files or []]
    return pages.post(f"/A/{number}/report", given, files=sent or None)


def test_a_label_leads_to_its_page_in_any_writing(pages: Pages) -> None:
    number = pages["B1"]
    for address in (f"/A/{number}", f"/a/{number.lower()}", f"/8004/4012345{number}",
                    f"/some/path/8004/4012345{number.lower()}"):  # fmt: skip
        answer = pages.get(address)
        assert answer.status_code == 200, address
        assert answer.url.path == f"/A/{number}"


def test_a_number_that_is_none_of_ours_says_so(pages: Pages) -> None:
    assert pages.get("/A/B-QM-00417-D").status_code == 404
    mistyped = pages.get("/A/B-QM-00417-X")
    assert mistyped.status_code == 400
    assert "check character" in mistyped.text


def test_the_page_says_where_it_is_when_it_was_charged_and_whether_it_is_ready(
    pages: Pages,
) -> None:
    page = pages.text(f"/A/{pages['B1']}")
    assert "at charger" in page
    assert f'href="/A/{pages["C1"]}"' in page
    assert "12 hours ago" in page
    assert 'class="mark go"' in page
    assert pages["B1"] in page
    assert "48 V" in page
    assert "1100 kg" in page


def test_units_are_the_visitors_with_the_marked_figure_beside(pages: Pages) -> None:
    pages.client.cookies.set("units", "us", domain="127.0.0.1", path="/")
    page = pages.text(f"/A/{pages['B1']}")
    assert "2425 lb (1100 kg)" in page


def test_a_truck_shows_what_is_in_it(pages: Pages) -> None:
    pages.room.run("seen", "B1", "T1", "--by", "KM")
    assert pages["B1"] in pages.text(f"/A/{pages['T1']}")
    assert "in truck" in pages.text(f"/A/{pages['B1']}")


def test_a_safety_hold_is_read_before_anything_else(pages: Pages) -> None:
    with pages.room.open() as site:
        hold(site, pages["B1"], "leak at a vent", safety=True, by="KM", station="bay-1")
    page = pages.text(f"/A/{pages['B1']}")
    assert "HELD FOR SAFETY" in page
    assert page.index("HELD FOR SAFETY") < page.index("Last charged")
    assert "leak at a vent" in page
    assert "only an inspection lifts it" in page


def test_what_it_fits_and_why_not_the_others(pages: Pages) -> None:
    fits = pages.text(f"/A/{pages['B1']}/fits")
    assert "Fits" in fits
    assert "T1" in fits
    assert "T2" in fits
    light = pages.text(f"/A/{pages['LIGHT']}/fits")
    assert "weight: too light by 120 kg" in light
    part = pages.get(f"/A/{pages['B1']}/fits", headers={"HX-Request": "true"}).text
    assert "<html" not in part


def test_words_from_a_sheet_are_shown_and_never_obeyed(pages: Pages) -> None:
    pages.room.take_in(
        "Maker's serial,Voltage (V),Service weight,Chemistry,Connector\n"
        "<script>alert(1)</script>,48,1100 kg,vented lead-acid,<img src=x onerror=alert(1)>\n"
    )
    number = pages["<script>alert(1)</script>"]
    for address in (f"/A/{number}", f"/A/{number}/fits", "/assets?q=<script>", "/rotation"):
        page = pages.text(address)
        assert "<script>alert" not in page
        assert "<img src=x" not in page


def test_a_guest_reads_and_does_not_write(pages: Pages) -> None:
    number = pages["B1"]
    assert "/labels?number=" not in pages.text(f"/A/{number}")  # would be refused
    before = pages.room.count()
    refused = pages.get(f"/A/{number}/report")
    assert refused.status_code == 403
    assert f'href="/shift?back=/A/{number}/report"' in refused.text  # what to do, and back again
    assert report(pages, number).status_code == 403
    assert pages.post(f"/A/{number}/hold", {"reason": "because"}).status_code == 403
    assert pages.post(f"/A/{number}/release", {"reason": "because"}).status_code == 403
    assert pages.room.count() == before


def test_a_report_is_recorded_as_something_to_do_and_is_no_inspection(pages: Pages) -> None:
    pages.shift("KM")
    answer = report(pages, pages["B1"])
    assert answer.status_code == 303
    state = pages.room.state("B1")
    assert [todo["what"] for todo in state.todos] == ["cable rubs on the lug"]
    assert not state.held
    assert state.inspection is None
    assert "inspection" not in state.done
    page = pages.text(answer.headers["location"])
    assert "Your report is recorded." in page
    assert page.count("cable rubs on the lug") >= 2


def test_a_report_holds_only_when_the_person_says_so(pages: Pages) -> None:
    pages.shift("KM")
    assert report(pages, pages["B1"], stop="yes").status_code == 303
    (held,) = pages.room.state("B1").holds
    assert held["kind"] == "ordinary"
    assert held["reason"] == "cable rubs on the lug"


def test_a_report_sent_twice_is_one(pages: Pages) -> None:
    pages.shift("KM")
    first, again = report(pages, pages["B1"]), report(pages, pages["B1"])
    assert (first.status_code, again.status_code) == (303, 303)
    assert len(pages.room.state("B1").todos) == 1


def test_a_photo_is_kept_as_a_picture_and_nothing_else(pages: Pages) -> None:
    pages.shift("KM")
    assert report(pages, pages["B1"], [photo(3000)]).status_code == 303
    (kept,) = (pages.room.folder / "photos").iterdir()
    assert b"taken in the aisle" not in kept.read_bytes()
    with Image.open(kept) as picture:
        assert max(picture.size) == 1600
    shown = pages.get(f"/A/{pages['B1']}/photos/{kept.name}")
    assert shown.status_code == 200
    assert shown.headers["content-type"] == "image/jpeg"
    assert kept.name in pages.text(f"/A/{pages['B1']}")


def test_a_photo_is_shown_with_its_asset_only(pages: Pages) -> None:
    pages.shift("KM")
    report(pages, pages["B1"], [photo()])
    (kept,) = (pages.room.folder / "photos").iterdir()
    assert pages.get(f"/A/{pages['B2']}/photos/{kept.name}").status_code == 404
    for name in ("..%2Fsite.toml", "%2e%2e%2fsite.toml", "site.toml", kept.name.upper()):
        assert pages.get(f"/A/{pages['B1']}/photos/{name}").status_code == 404


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"<svg onload=alert(1)>", "not a photo"),
        (b"\xff\xd8\xff\xe0 cut off", "photo"),
        (b"\xff" * (LARGEST_BYTES + 1), "larger than 12 MB"),
    ],
)
def test_what_is_no_photo_is_refused_and_the_words_are_not_lost(
    pages: Pages, content: bytes, said: str
) -> None:
    pages.shift("KM")
    answer = report(pages, pages["B1"], [content])
    assert answer.status_code == 400
    assert said in answer.text
    assert "cable rubs on the lug" in answer.text
    assert not pages.room.state("B1").todos
    assert not (pages.room.folder / "photos").exists()
    # The mended form may be sent under the same key.
    assert report(pages, pages["B1"], [photo()]).status_code == 303


def test_too_many_photos_are_refused(pages: Pages) -> None:
    pages.shift("KM")
    assert report(pages, pages["B1"], [photo()] * 5).status_code == 400
    assert not pages.room.state("B1").todos


def test_a_safety_hold_is_released_by_a_supervisor_after_an_inspection_only(pages: Pages) -> None:
    pages.shift("KM")
    number = pages["B1"]
    held = pages.post(f"/A/{number}/hold", {"reason": "case cracked", "safety": "yes"})
    assert held.status_code == 303
    assert pages.post(f"/A/{number}/release", {"reason": "mended"}).status_code == 403
    pages.shift("SW")
    assert pages.post(f"/A/{number}/release", {"reason": "looks fine"}).status_code == 400
    assert pages.room.state("B1").held
    done = pages.post(f"/A/{number}/release", {"reason": "case welded", "inspected": "yes"})
    assert done.status_code == 303
    assert not pages.room.state("B1").held


def test_the_timeline_strikes_a_cancelled_entry_and_says_why(pages: Pages) -> None:
    pages.room.run("seen", "B2", "roller stand", "--by", "KM")
    with pages.room.open() as site:
        (event,) = (e for e in site.record.timeline(pages["B2"]) if e.kind == "seen_at")
        void(site, event.id, "read the wrong label", by="KM", station="desk")
    page = pages.text(f"/A/{pages['B2']}")
    assert 'class="void"' in page
    assert "read the wrong label" in page
    assert "not known" in page


def test_only_the_newest_entries_are_shown_until_more_are_asked_for(pages: Pages) -> None:
    for turn in range(20):
        pages.room.run("seen", "B2", f"place {turn}", "--by", "KM")
    page = pages.text(f"/A/{pages['B2']}")
    assert "place 19" in page
    assert "place 2<" not in page
    assert "Show more" in page
    assert "place 2" in pages.text(f"/A/{pages['B2']}?entries=30")


def test_a_page_about_now_is_never_kept_by_the_browser(pages: Pages) -> None:
    assert pages.get(f"/A/{pages['B1']}").headers["cache-control"] == "no-store"
