"""Hostile text through every field, every parameter and every path of the pages, found by asking
the app and its pages; and what comes of it on every page and in every file."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import patch

import pytest
from argon2 import PasswordHasher
from fastapi import APIRouter, FastAPI, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from fastapi.testclient import TestClient
from hostile_walk import MARK, RECKONED, TEXTS, Walk
from lookup_room import Pages, lookup_room, pages_of
from PIL import Image
from tagkit.assets.legible import LONGEST
from tagkit.jobs.site import open_site
from tagkit.record.verify import verify
from tagkit.web.access import pins

SHEET = f"""Maker's serial,Voltage (V),Service weight,Chemistry,Capacity C5 (Ah),Connector,Designation
{MARK}'"><xss-probe onprobe=1>,48,1100 kg,vented lead-acid,775,=1+1+{MARK},"\u202e{MARK}"
=1+1+{MARK},48,1100 kg,vented lead-acid,775,{{{{31337*41227}}}},<xss-probe>
"""
NOT_REACHED = {"/live/changes"}
"""A line that stays open; it says that there is something new, and nothing of what."""


@pytest.fixture
def here(tmp_path: Path) -> Iterator[Pages]:
    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    room = lookup_room(tmp_path / "above" / "site")
    with patch.object(pins, "_HASHER", quick), pages_of(room) as pages:
        pages.client._transport.raise_server_exceptions = False  # type: ignore[attr-defined]
        yield pages


def walker(here: Pages) -> Walk:
    """What a person would key in where a page suggests nothing, by the names of the fields."""
    access = here.client.app.state.access  # type: ignore[attr-defined]

    def at_work() -> None:
        if not access.one("SELECT 1 FROM shifts WHERE person = 'SW'"):
            here.shift("SW")

    picture = io.BytesIO()
    Image.new("L", (40, 40), 200).save(picture, "PNG")
    png = ("a.png", picture.getvalue(), "image/png")
    samples = {
        "number": here["B1"], "battery": here["B1"], "other": here["T1"], "typed": here["B1"],
        "charger": here["C1"], "identifier": f"9521{here['B1']}", "_before": "x",
        "template": "sheet-a4", "topic": "station", "procedure": "watering", "key": "water",
        "value": "x7", "reason": "wrong", "second": "JT", "who": "SW", "people": "SW",
        "code": "NEW1", "initials": "NW", "name": "bay-7", "words": "it leaks", "what": "it leaked",
        "findings": "cracked", "hold": "safety", "using": "soda", "place": "stand 2", "steps": "look",
        "current": "155 A", "minutes": "200", "temperature": "25 °C", "gravity": "1.280",
        "litres": "4", "resistance": "400 kohm", "cells": "7: 0.3", "ah": "600 Ah",
        "gravity-#": "1275", "confirmed": "yes",
    }  # fmt: skip
    sheet = ("sheet.csv", SHEET.encode(), "text/csv")
    return Walk(here.client.app, here.client, samples, at_work,  # type: ignore[arg-type]
                {"photos": png, "photo": png, "sheet": sheet})  # fmt: skip


def files_below(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in folder.rglob("*")}


def test_hostile_text_stays_text_wherever_it_is_sent_and_shown(
    here: Pages, tmp_path: Path, project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(scratch))
    walk = walker(here)
    here.shift("SW")
    walk.crawl()
    walk.fill_in()
    walk.ask_oddly()
    state = here.client.app.state  # type: ignore[attr-defined]
    state.runs._pool.submit(lambda: None).result()  # what was to be printed is
    walk.ready()
    walk.crawl()
    assert walk.faults == []
    problems = {run.problem for run in state.runs._known.values()}
    assert "something went wrong in tagkit" not in problems

    # It was not for nothing: fields took the words, and pages and files show them.
    forms = {(form.method, form.action) for form in walk.forms.values()}
    assert len(forms) >= 40 and walk.asked >= 700
    words = {told.rpartition(" ")[0] for told in walk.taken if told.endswith(("markup", "short"))}
    assert len(words) >= 30, sorted(words)
    for form in ("text/html", "text/csv", "application/json", "workbook"):
        assert walk.told[form], f"no {form} shows any of it"
    gets = {route.path for route in walk.routes if "GET" in route.methods}
    assert gets - set(walk.reached) == NOT_REACHED

    # A template is one that comes with tagkit, never a file that somebody names.
    mine = here.room.folder / "mine.toml"
    mine.write_bytes((project / "label_templates" / "sheet-a4.toml").read_bytes())
    for asked in (("GET", "/guide/station"), ("GET", "/labels/look")):
        assert here.client.request(*asked, params={"template": str(mine)}).status_code == 404
    printed = here.post("/labels", {"template": str(mine), "typed": here["B1"]})
    assert printed.status_code == 404

    # Nothing went anywhere else, and the record is whole and holds nothing that can't be seen.
    assert [name for name in files_below(tmp_path) if MARK in name] == []
    assert {name.split("/")[0] for name in files_below(tmp_path)} == {"above", "scratch"}
    assert files_below(scratch) == set()
    assert {path.name for path in (tmp_path / "above").iterdir()} == {"site", "sheet.csv"}
    assert verify(here.room.folder) == []
    with open_site(here.room.folder) as site:
        kept = b"".join(raw for raw, _ in site.record.export()).decode()
    assert MARK in kept
    for unseen in ("\\u0000", "\\u001b", "\\r", "\u202e", "\u2066", "\u200b"):
        assert unseen not in kept
    assert "W" * (LONGEST + 1) not in kept


careless = APIRouter()


@careless.get("/")
def start() -> HTMLResponse:
    return HTMLResponse(
        '<form method="post" action="/note"><input name="words"></form><a href="/table.csv">x</a>',
        headers={"x-content-type-options": "nosniff"},
    )


@careless.post("/note")
def note(request: Request, words: str = Form("")) -> Response:
    request.app.state.words = words
    return RedirectResponse(words if words.startswith(".") else "/", 303)


@careless.get("/{how}")
def show(request: Request, how: str, q: str = "") -> Response:
    words, headers = request.app.state.words or q, {"x-content-type-options": "nosniff"}
    match how:
        case "plain":
            return HTMLResponse(f"<p>{words}</p>", headers=headers)
        case "attribute":
            return HTMLResponse(f"<p title={words.replace('<', '')}>", headers=headers)
        case "reckoned":
            return HTMLResponse(
                words.replace("{{31337*41227}}", RECKONED).replace("<", ""), headers=headers
            )
        case "unseen":
            return HTMLResponse(words.replace("<", ""), headers=headers)
        case "table.csv":
            return Response(f"{words}\n", media_type="text/csv", headers=headers)
        case "day.ics":
            return Response(f"SUMMARY:{words}", media_type="text/calendar", headers=headers)
        case "file":
            return Response(b"", headers={"content-disposition": f"attachment; filename={MARK}"})
    raise ValueError(words.encode("ascii"))


@pytest.mark.parametrize(
    ("how", "found"),
    [("plain", "unescaped"), ("attribute", "onprobe"), ("reckoned", "reckoned"),
     ("unseen", "can't be seen"), ("table.csv", "a formula"), ("day.ics", "X-Probe"),
     ("file", "a file named"), ("fault", "500")],
)  # fmt: skip
def test_a_careless_page_would_be_found(how: str, found: str) -> None:
    """The walk above is worth nothing if it finds nothing where there is something."""
    app = FastAPI()
    app.state.words = ""
    app.include_router(careless)
    with TestClient(app, raise_server_exceptions=False) as client:
        walk = Walk(app, client, {"how": how})
        walk.crawl()
        walk.fill_in()
        for text in TEXTS.values():
            app.state.words = text
            walk.crawl()
    assert any(found in fault for fault in walk.faults), walk.faults
