"""Putting the record right on a screen: contradictions, wrong figures, wrong entries."""

from __future__ import annotations

import re

import pytest
from lookup_room import Pages
from tagkit.cli.main import COMMANDS
from tagkit.jobs.hold import hold
from tagkit.language.words import Words
from tagkit.record.envelope import Event
from tagkit.web.access.pins import choose_pin
from tagkit.web.keys import KEYS, remedy_on_pages


def entry(pages: Pages, name: str, kind: str) -> Event:
    """The newest event of this kind of an asset."""
    with pages.room.open() as site:
        return next(event for event in site.record.timeline(pages[name]) if event.kind == kind)


def put_two_in_one_truck(pages: Pages) -> None:
    with pages.room.open() as site, site.record.writing("KM", "bay-1") as writing:
        for name in ("B1", "B2"):
            place = {"kind": "truck", "name": pages["T1"]}
            writing.append("seen_at", [pages[name], pages["T1"]],
                           {"battery": pages[name], "place": place})  # fmt: skip


def amendment(**fields: str) -> dict[str, str]:
    return {"field": "weight", "value": "1150 kg", "source": "stamped", "reason": "misread a 5",
            "second": "SW", **fields}  # fmt: skip


def test_nothing_to_settle_says_so(pages: Pages) -> None:
    assert "Nothing contradicts itself." in pages.text("/corrections")


def test_two_batteries_in_one_truck_are_settled_by_one_press(pages: Pages) -> None:
    put_two_in_one_truck(pages)
    assert "hold" in pages.text("/corrections")
    assert 'action="/corrections/seen"' not in pages.text("/corrections")  # a guest only reads
    pages.shift("KM")
    page = pages.text("/corrections")
    form = re.search(
        rf'<form[^>]*action="/corrections/seen">(?:(?!</form>).)*value="{pages["B2"]}".*?</form>',
        page, re.DOTALL,
    )  # fmt: skip
    assert form is not None
    fields = dict(re.findall(r'name="(\w+)"[^>]*value="([^"]*)"', form.group()))
    assert fields["battery"] == pages["B2"]
    assert fields["place"]
    done = pages.post("/corrections/seen", fields)
    assert done.status_code == 303
    assert "Nothing contradicts itself." in pages.text(done.headers["location"])
    assert pages.room.place("B1") == "T1"
    assert pages.room.place("B2") == fields["place"]


def test_a_figure_is_amended_with_a_reason_and_a_second_person(pages: Pages) -> None:
    pages.shift("JT")
    number = pages["B1"]
    assert "1100 kg" in pages.text(f"/A/{number}/amend")
    done = pages.post(f"/A/{number}/amend", amendment())
    assert done.status_code == 303, done.text
    assert pages.room.state("B1").nameplate["weight"]["value"] == "1150"
    page = pages.text(done.headers["location"])
    assert "misread a 5</p><p>checked by SW</p>" in re.sub(r">\s+<", "><", page)
    assert "service weight: 1100 kg (stamped) → 1150 kg (stamped)" in page
    assert "misread a 5" in pages.text("/corrections")


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"second": "JT"}, "second person is the first one"),
        ({"second": "KM"}, "not recorded as a technician"),
        ({"second": ""}, "his takes a second authorised person"),
        ({"reason": ""}, "reason is empty"),
        ({"value": ""}, "right figure is missing"),
        ({"value": "1150"}, "can be read as"),
        ({"value": "heavy"}, "is not a figure"),
        ({"field": "colour"}, "has no field"),
        ({"field": ""}, "o figure is chosen"),
        ({"source": "hearsay"}, "not a source"),
    ],
)
def test_a_form_with_a_mistake_says_which_and_keeps_what_was_typed(
    pages: Pages, wrong: dict[str, str], said: str
) -> None:
    pages.shift("JT")
    before = pages.room.count()
    fields = amendment(**wrong)
    answer = pages.post(f"/A/{pages['B1']}/amend", fields)
    assert answer.status_code == 400
    assert said in answer.text.replace("&#39;", "'")
    for typed in (fields["value"], fields["reason"]):
        assert f'value="{typed}"' in answer.text
    assert pages.room.count() == before


def test_a_second_person_who_has_a_pin_types_it(pages: Pages) -> None:
    from tagkit.web.access.pins import choose_pin

    app = pages.client.app
    choose_pin(app.state.access, "SW", "407193", 0.0)  # type: ignore[attr-defined]
    pages.shift("JT")
    address = f"/A/{pages['B1']}/amend"
    assert pages.post(address, amendment()).status_code == 400
    assert pages.post(address, amendment(pin="111111")).status_code == 400
    assert pages.room.state("B1").nameplate["weight"]["value"] == "1100"
    assert pages.post(address, amendment(pin="407193")).status_code == 303


def test_an_attendant_amends_nothing(pages: Pages) -> None:
    pages.shift("KM")
    assert pages.get(f"/A/{pages['B1']}/amend").status_code == 403
    assert pages.post(f"/A/{pages['B1']}/amend", amendment()).status_code == 403


def test_an_entry_is_cancelled_with_a_reason_and_stays_to_be_seen(pages: Pages) -> None:
    pages.room.run("seen", "B2", "T1", "--by", "KM")
    wrong = entry(pages, "B2", "seen_at")
    pages.shift("KM")
    assert "roller" not in pages.text(f"/corrections/void?entry={wrong.id}")
    fields = {"entry": wrong.id, "reason": "scanned the wrong truck", "once": "key-1"}
    done = pages.post("/corrections/void", fields)
    assert done.status_code == 303
    assert pages.post("/corrections/void", fields).status_code == 303  # pressed twice, done once
    assert pages.room.place("B2") is None
    assert len(pages.room.events("voided")) == 1
    page = pages.text(f"/A/{pages['B2']}")
    assert 'class="void"' in page
    assert "scanned the wrong truck" in page
    assert "scanned the wrong truck" in pages.text("/corrections")


def test_a_page_names_its_keys_where_the_command_line_names_commands(pages: Pages) -> None:
    taken = entry(pages, "B2", "registered")
    pages.shift("JT")
    page = pages.text(f"/corrections/void?entry={taken.id}")
    assert "Correct figures with “Correct a figure”, people with “People”." in page
    spanish = Words("es", "metric", None)
    assert remedy_on_pages("Record people with “tagkit authorise” first", spanish) == (
        "Registre primero a las personas con «Personas»."
    )
    papers = "Add --receipt or --papers, if that is still missing"
    assert remedy_on_pages(papers, Words("en", "metric", None)) == (
        "Add “Number of the recycler's receipt” or “Transport papers”, if that is still missing."
    )
    # What a page has no key for keeps its command.
    verify = "Run “tagkit verify”; a figure that was recorded so is amended with “tagkit amend”"
    told = remedy_on_pages(verify, spanish)
    assert "«tagkit verify»" in told and "«Corregir un dato»" in told
    assert set(KEYS) <= set(COMMANDS)


def test_anothers_entry_takes_a_technician(pages: Pages) -> None:
    pages.room.run("seen", "B2", "T1", "--by", "SW")
    wrong = entry(pages, "B2", "seen_at")
    fields = {"entry": wrong.id, "reason": "wrong truck"}
    pages.shift("KM")
    assert pages.post("/corrections/void", fields).status_code == 400
    assert pages.room.place("B2") == "T1"
    pages.shift("JT")
    assert pages.post("/corrections/void", fields).status_code == 303


def test_a_safety_hold_is_never_cancelled(pages: Pages) -> None:
    with pages.room.open() as site:
        hold(site, pages["B1"], "leak", safety=True, by="SW", station="desk")
    held = entry(pages, "B1", "held")
    pages.shift("SW")
    page = pages.text(f"/corrections/void?entry={held.id}")
    assert "only an inspection lifts it" in page
    assert '<form class="panel"' not in page
    answer = pages.post("/corrections/void", {"entry": held.id, "reason": "a mistake"})
    assert answer.status_code == 400
    assert pages.room.state("B1").held


def test_an_ordinary_hold_is_cancelled_by_a_supervisor_only(pages: Pages) -> None:
    with pages.room.open() as site:
        hold(site, pages["B1"], "squeaks", safety=False, by="KM", station="desk")
    held = entry(pages, "B1", "held")
    pages.shift("KM")
    fields = {"entry": held.id, "reason": "it was another one"}
    assert pages.post("/corrections/void", fields).status_code == 400
    pages.shift("SW")
    assert pages.post("/corrections/void", fields).status_code == 303
    assert not pages.room.state("B1").held


def test_cancelling_an_amendment_takes_two(pages: Pages) -> None:
    pages.shift("JT")
    pages.post(f"/A/{pages['B1']}/amend", amendment())
    wrong = entry(pages, "B1", "amended")
    alone = {"entry": wrong.id, "reason": "the case was read again"}
    assert pages.post("/corrections/void", {**alone, "second": "JT"}).status_code == 400
    assert pages.room.state("B1").nameplate["weight"]["value"] == "1150"
    assert pages.post("/corrections/void", {**alone, "second": "SW"}).status_code == 303
    assert pages.room.state("B1").nameplate["weight"]["value"] == "1100"


def test_entries_that_are_none_are_not_found(pages: Pages) -> None:
    pages.shift("SW")
    for identity in ("", "nonsense", "abc-99999", "../../etc", "<script>"):
        answer = pages.get("/corrections/void", params={"entry": identity})
        assert answer.status_code == 404
        assert "<script>" not in answer.text.replace("<script src", "")


def test_a_supervisor_cancels_a_hold_only_after_the_pin(pages: Pages) -> None:
    with pages.room.open() as site:
        hold(site, pages["B1"], "squeaks", safety=False, by="KM", station="desk")
    held = entry(pages, "B1", "held")
    choose_pin(pages.client.app.state.access, "SW", "482913", 0.0)
    pages.shift("SW")
    answer = pages.post("/corrections/void", {"entry": held.id, "reason": "it was another one"})
    assert answer.status_code == 400 and "PIN" in answer.text
    assert pages.room.state("B1").held


def test_a_weight_that_jumps_is_asked_about(pages: Pages) -> None:
    pages.shift("JT")
    address = f"/A/{pages['B1']}/amend"
    slip = amendment(value="110 kg")
    asked = pages.post(address, slip)
    assert asked.status_code == 409
    assert "would change by 90 %, from 1100 kg (" in asked.text.replace("\N{NO-BREAK SPACE}", " ")
    assert 'name="answer" value="as-shown"' in asked.text
    assert pages.room.state("B1").nameplate["weight"]["value"] == "1100"
    assert pages.post(address, {**slip, "answer": "as-shown"}).status_code == 303


@pytest.mark.parametrize(
    ("english", "spanish"),
    [
        ("service weight would change by 90 %, from 1100 kg (stamped) to 110 kg (weighed)",
         "cambio de un 90 %: peso en servicio, de 1100 kg (grabado) a 110 kg (pesado)"),
        ("amended B-QM-00417-D, service weight: 1100 kg (stamped) → 1150 kg (stamped); "
         "chemistry: unknown → gel (catalogue)",
         "corrigió B-QM-00417-D, peso en servicio: 1100 kg (grabado) → 1150 kg (grabado); "
         "tipo: desconocido → gel (catálogo)"),
        ("married the label to B-QM-00417-D, read there: maker's serial: B1; voltage: 48 V",
         "emparejó la etiqueta con B-QM-00417-D, leído allí: serie del fabricante: B1; tensión: 48 V"),
        ("ended the charge of B-QM-00417-D, 312.5 Ah returned",
         "terminó la carga de B-QM-00417-D, 312.5 Ah devueltos"),
    ],
)  # fmt: skip
def test_figures_of_the_record_are_said_in_spanish(english: str, spanish: str) -> None:
    assert Words("es", "metric", None)(english) == spanish
