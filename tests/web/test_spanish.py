"""The Spanish catalogue is whole, keeps every figure, and the pages are Spanish through."""

from __future__ import annotations

import re
from collections.abc import Iterator
from copy import deepcopy
from pathlib import Path

import pytest
from catalogue import Sentence, idle, lacking, sentences, spanish
from english_left import english_left
from lookup_room import BatteryRoom, Pages, pages_of
from tagkit.language.catalogue import spoken
from tagkit.web.views.guide import TOPICS

_GAPS = re.compile(r"%\(\w+\)s|%%|\{\w+\}")

NAMES = frozenset(
    # Names of files and options, what the browser or a person wrote, words of the scripts' table.
    ("sheet", "letter", "small", "side", "large", "top", "plate", "floor", "charger", "truck",
     "gear", "battery", "cable", "english", "bay", "starting", "off", "none", "busy", "denied",
     "insecure", "ended", "press", "for", "sound", "bad", "number", "not", "kept", "sending",
     "recorded", "shift", "needed", "discard", "noted", "light")
)  # fmt: skip
"""The small list of English that stays."""


@pytest.fixture
def spanish_pages(lookup_site: BatteryRoom, tmp_path: Path) -> Iterator[Pages]:
    """A room whose supervisor reads Spanish."""
    with pages_of(lookup_site.moved_to(tmp_path / "room")) as made:
        made.shift("SW")
        made.post("/shift/reading", {"language": "es", "units": "metric", "back": "/shift"})
        yield made


def test_every_sentence_that_can_be_shown_has_a_translation() -> None:
    assert lacking(spanish()) == []


def test_no_translation_is_left_of_sentences_that_nobody_says() -> None:
    assert idle(spanish()) == []


def test_every_figure_comes_along() -> None:
    for message in spanish():
        if not message.id:
            continue
        ids = (message.id,) if isinstance(message.id, str) else message.id
        strings = (message.string,) if isinstance(message.string, str) else message.string
        for english, said in zip(ids, strings, strict=True):
            assert not said or sorted(_GAPS.findall(english)) == sorted(_GAPS.findall(said)), (
                english
            )


def test_a_sentence_that_is_missing_would_be_found() -> None:
    catalogue = deepcopy(spanish())
    one = next(one for one in sentences() if one.context == "made" and one.source.endswith("y.py"))
    catalogue.delete(one.text, "made")
    assert one in lacking(catalogue)


def _filled(one: Sentence) -> str:
    return re.sub(r"\{\w+\}", "7", one.text)


def test_every_made_sentence_is_known_when_its_figures_are_in_it() -> None:
    """But those that are nothing but gaps and marks."""
    speaking = spoken("es")
    said = {
        str(one.id): str(one.string) for one in spanish() if one.context == "made" and one.string
    }
    made = [one for one in sentences() if said.get(one.text, one.text) != one.text]
    assert [one.text for one in made if speaking.say(_filled(one)) == _filled(one)] == []


ADDRESSES = (
    "/", "/assets", "/assets?q=zzz", "/rotation", "/rotation?truck={T1}", "/corrections",
    "/shift", "/stations", "/stations/enrol", "/people", "/delivery", "/assets/new",
    "/assets/new?kind=battery", "/assets/new?kind=truck", "/marry", "/marry?number={B2}",
    "/labels", "/labels?number={B1}", "/today", "/care", "/incidents", "/planning",
    "/planning/ventilation", "/planning/pool", "/planning/retirement", "/planning/acid", "/charger-log",
    "/current-log",
    "/steps", "/steps/charging", "/station", "/check", "/A/{B1}", "/A/{B2}", "/A/{LIGHT}",
    "/A/{T1}", "/A/{C1}", "/A/{B1}/fits", "/A/{SMALL}/fits", "/A/{B1}/report", "/A/{B1}/amend",
    "/care/{B1}", "/care/{B1}/charge", "/care/{B1}/charged", "/care/{B1}/water",
    "/care/{B1}/inspect", "/care/{B1}/wash", "/care/{B1}/leakage", "/care/{B1}/capacity",
    "/care/{B1}/repair", "/rounds/{B1}", "/rounds/{B1}/new", "/guide",
    *(f"/guide/{topic}" for topic in TOPICS),
)  # fmt: skip


def test_pages_are_spanish_through(spanish_pages: Pages) -> None:
    left: dict[str, list[str]] = {}
    for address in ADDRESSES:
        address = address.format_map(spanish_pages.room.tags)
        answer = spanish_pages.get(address)
        assert answer.status_code == 200, (address, answer.text[:300])
        assert '<html lang="es">' in answer.text
        if found := english_left(answer.text, NAMES):
            left[address] = sorted(found)
    assert left == {}


def test_what_is_refused_is_said_in_spanish(spanish_pages: Pages) -> None:
    tag = spanish_pages["B1"]
    for address, given in (
        (f"/care/{tag}/charge", {"charger": "Z"}),
        (f"/care/{tag}/water", {"litres": "much"}),
        (f"/A/{tag}/amend", {"field": "", "reason": "x"}),
        (f"/marry/{tag}", {"maker_serial": "B2", "voltage": "48", "weight": "1100 kg"}),
        ("/incidents", {"sort": "spill", "what": "x"}),
    ):
        answer = spanish_pages.post(address, given)
        assert answer.status_code >= 400, (address, answer.status_code)
        assert english_left(answer.text, NAMES | {"much"}) == {}, address
    for address in ("/steps/secrets", "/A/B-QM-99999-X", "/nowhere"):
        answer = spanish_pages.client.get(address, headers={"accept": "text/html"})
        assert answer.status_code in (400, 404), address
        assert english_left(answer.text, NAMES | {"secrets"}) == {}, address
