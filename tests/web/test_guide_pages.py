"""The guide: every page answers in both languages, its pictures exist, the planner reckons."""

from __future__ import annotations

import re

import pytest
from lookup_room import Pages
from PIL import Image
from tagkit.jobs.distance import Asked, plan_distance
from tagkit.web.app import STATIC
from tagkit.web.views.guide import PICTURES, TOPICS

FOLDER = STATIC / "guide"
LARGEST, LARGEST_TOGETHER = 60_000, 1_000_000


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_page_of_the_guide_shows_pictures_that_are_there(pages: Pages, language: str) -> None:
    pages.post("/shift/reading", {"language": language, "units": "metric", "back": "/shift"})
    for topic in TOPICS:
        for name in re.findall(r'<img src="/static/guide/([^"]+)"', pages.text(f"/guide/{topic}")):
            assert name.removesuffix(f".{language}.webp") in PICTURES
            assert pages.get(f"/static/guide/{name}").headers["content-type"] == "image/webp"


def test_the_room_of_a_picture_is_kept_for_it(pages: Pages) -> None:
    for topic in TOPICS:
        for told in re.findall(
            r'<img [^>]*src="/static/guide/[^>]*>', pages.text(f"/guide/{topic}")
        ):
            name, wide, high = re.findall(r'guide/([^"]+)|width="(\d+)"|height="(\d+)"', told)
            with Image.open(FOLDER / name[0]) as picture:
                assert picture.size == (int(wide[1]), int(high[2]))


def test_the_pictures_are_small_and_none_is_idle(pages: Pages) -> None:
    files = sorted(FOLDER.iterdir())
    assert {one.name for one in files} == {
        f"{name}.{language}.webp" for name in PICTURES for language in ("en", "es")
    }
    sizes = [one.stat().st_size for one in files]
    assert max(sizes) <= LARGEST
    assert sum(sizes) <= LARGEST_TOGETHER
    text = "".join(pages.text(f"/guide/{topic}") for topic in TOPICS)
    assert {name for name in PICTURES if f"/static/guide/{name}.en.webp" not in text} == set()


def test_the_camera_distance_is_the_planners(pages: Pages) -> None:
    plan = plan_distance(Asked(template="battery-side", camera=1280, angle=60.0)).plan
    between = round((plan.nearest + plan.farthest) / 2)
    asked = f"template=battery-side&camera=1280&angle=60&distance={between} mm"
    text = pages.text(f"/guide/station?{asked}")
    assert f"From {plan.nearest:.0f} mm to {plan.farthest:.0f} mm" in text
    assert f"At {between} mm it reads." in text


def test_a_distance_too_far_is_told_so(pages: Pages) -> None:
    text = pages.text("/guide/station?template=battery-side&camera=640&distance=5 m")
    assert "does not read" in text


def test_what_can_not_be_is_told_in_the_page(pages: Pages) -> None:
    for asked in ("camera=wide", "camera=3", "angle=400", "distance=red"):
        assert 'class="mishap"' in pages.text(f"/guide/station?{asked}"), asked


def test_an_address_that_leads_nowhere_is_told_as_a_page(pages: Pages) -> None:
    for address in ("/guide/secrets", "/nowhere", "/nowhere/at/all"):
        answer = pages.get(address, headers={"Accept": "text/html,*/*"})
        assert answer.status_code == 404
        assert "There is no such page." in answer.text
        assert 'class="mishap"' in answer.text
    assert pages.get("/api/nowhere").json()["problem"] == "there is no such page"
