"""The fleet in pages, and finding one asset by anything that it is called."""

from __future__ import annotations

import pytest
from lookup_room import Pages
from tagkit.assets.tag import Kind
from tagkit.jobs.fleet import PAGE


def numbers(page: str) -> list[str]:
    """The assets listed, in order."""
    return [part.split('"')[0] for part in page.split('class="tag" href="/A/')[1:]]


def test_everything_is_listed_by_number(pages: Pages) -> None:
    listed = numbers(pages.text("/assets"))
    assert sorted(listed) == listed
    assert set(listed) == set(pages.room.tags.values())


@pytest.mark.parametrize(
    ("words", "found"),
    [("LIG", ["LIGHT"]), ("light", ["LIGHT"]), ("T2", ["T2"]), ("a2", ["C2"]), ("c24", ["C24"])],
)
def test_part_of_what_it_is_called_is_enough(pages: Pages, words: str, found: list[str]) -> None:
    assert numbers(pages.text(f"/assets?q={words}")) == [pages[name] for name in found]


def test_a_number_is_found_in_any_writing(pages: Pages) -> None:
    number = pages["B1"]
    for words in (number, number.lower(), number.replace("-", ""), number.replace("-", " ")):
        assert numbers(pages.text(f"/assets?q={words}")) == [number]
        found = pages.get(f"/find?q={words}", follow_redirects=False)
        assert found.headers["location"] == f"/A/{number}"


@pytest.mark.parametrize("words", ["LIGHT", "l i g h t", "ligh"])
def test_find_goes_straight_to_the_one_that_is_meant(pages: Pages, words: str) -> None:
    found = pages.get(f"/find?q={words}", follow_redirects=False)
    assert found.status_code == 303
    assert found.headers["location"] == f"/A/{pages['LIGHT']}"


def test_find_by_fleet_number_and_bay(pages: Pages) -> None:
    for words, name in (("T1", "T1"), ("A3", "C24"), ("a3", "C24")):
        found = pages.get(f"/find?q={words}", follow_redirects=False)
        assert found.headers["location"] == f"/A/{pages[name]}"


def test_find_lists_when_several_may_be_meant_and_says_when_none_is(pages: Pages) -> None:
    several = pages.get("/find?q=B")
    assert several.url.path == "/assets"
    assert len(numbers(several.text)) >= 3
    none = pages.get("/find?q=nobody's")
    assert none.status_code == 200
    assert "Nothing is called that." in none.text


def test_an_empty_find_shows_the_fleet(pages: Pages) -> None:
    assert pages.get("/find?q=").url.path == "/assets"


def test_kinds_and_states_narrow_the_list(pages: Pages) -> None:
    assert numbers(pages.text("/assets?kind=truck")) == [pages["T1"], pages["T2"]]
    assert numbers(pages.text("/assets?state=ready")) == [pages["B1"]]
    pages.room.run("seen", "B1", "T1", "--by", "KM")
    assert numbers(pages.text("/assets?state=in use")) == [pages["B1"]]
    assert numbers(pages.text("/assets?state=ready")) == []
    assert set(numbers(pages.text("/assets?kind=battery&state=not ready"))) == {
        pages[name] for name in ("B2", "B3", "LIGHT", "SMALL")
    }


def test_words_that_mean_nothing_are_passed_over(pages: Pages) -> None:
    everything = numbers(pages.text("/assets"))
    for asked in ("kind=ship", "state=asleep", "page=abc", "page=0", "page=-3"):
        assert numbers(pages.text(f"/assets?{asked}")) == everything


def test_a_large_fleet_comes_in_pages(pages: Pages) -> None:
    with pages.room.open() as site, site.record.writing("SW", "desk") as writing:
        for number in range(PAGE * 2):
            tag = str(writing.issue(Kind.TRUCK))
            fleet = {"value": f"F{number:03}", "source": "nameplate"}
            writing.append("registered", [tag], {"nameplate": {"fleet_number": fleet}})
    first, second = pages.text("/assets?kind=truck"), pages.text("/assets?kind=truck&page=2")
    assert len(numbers(first)) == len(numbers(second)) == PAGE
    assert not set(numbers(first)) & set(numbers(second))
    assert "kind=truck&amp;page=2" in first
    last = pages.text("/assets?kind=truck&page=3")
    assert len(numbers(last)) == 2
    assert "The list ends before this page." in pages.text("/assets?kind=truck&page=9")


def test_an_empty_record_says_how_to_begin(client) -> None:
    for address in ("/", "/assets", "/rotation"):
        page = client.get(address)
        assert page.status_code == 200
        assert 'href="/delivery"' in page.text
