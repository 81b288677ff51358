"""A form that is sent twice acts once."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from access_room import Room, room
from fastapi import Request, Response
from fastapi.responses import RedirectResponse
from fastapi.testclient import TestClient
from known_browsers import known_browser
from tagkit.errors import Busy, WrongInput
from tagkit.web.access.once import KEPT_HOURS, once
from tagkit.web.depends import ENTER


class Deeds:
    """What was really done."""

    def __init__(self) -> None:
        self.done: list[str] = []
        self.refuse = False
        self.break_ = False
        self.wait: threading.Event | None = None
        self.begun = threading.Event()

    def act(self, what: str) -> Response:
        self.begun.set()
        if self.wait:
            self.wait.wait(10)
        if self.refuse:
            raise WrongInput("not like this", "Mend it")
        self.done.append(what)
        if self.break_:
            raise RuntimeError("the answer got lost")
        return RedirectResponse(f"/done/{len(self.done)}", 303)


@pytest.fixture
def deeds() -> Deeds:
    return Deeds()


@pytest.fixture
def here(tmp_path: Path, deeds: Deeds) -> Iterator[Room]:
    with room(tmp_path, lan=False) as made:

        def act(request: Request) -> Response:
            form = request._form or {}
            return once(request, lambda: deeds.act(str(form.get("what", ""))))

        made.app.add_api_route("/act", act, methods=["POST"], dependencies=[ENTER])
        made.app.add_api_route("/other", act, methods=["POST"], dependencies=[ENTER])
        yield made


def test_a_replay_gets_the_first_answer_and_does_nothing(here: Room, deeds: Deeds) -> None:
    client = here.client()
    form = {"what": "log", "once": "key-1"}
    first, again = client.post("/act", data=form), client.post("/act", data=form)
    assert deeds.done == ["log"]
    assert again.status_code == first.status_code == 303
    assert again.headers["location"] == first.headers["location"] == "/done/1"


def test_another_key_another_browser_and_another_page_are_other_deeds(
    here: Room, deeds: Deeds
) -> None:
    client = here.client()
    client.post("/act", data={"what": "a", "once": "key-1"})
    client.post("/act", data={"what": "a", "once": "key-2"})
    client.post("/other", data={"what": "a", "once": "key-1"})
    here.client().post("/act", data={"what": "a", "once": "key-1"})
    assert len(deeds.done) == 4


def test_without_a_key_every_form_acts(here: Room, deeds: Deeds) -> None:
    client = here.client()
    for _ in range(2):
        client.post("/act", data={"what": "a"})
    assert len(deeds.done) == 2


def test_the_header_is_a_key_too(here: Room, deeds: Deeds) -> None:
    client = here.client()
    for _ in range(2):
        client.post("/act", data={"what": "a"}, headers={"Idempotency-Key": "k"})
    assert len(deeds.done) == 1


def test_other_content_under_the_same_key_is_refused_not_swallowed(
    here: Room, deeds: Deeds
) -> None:
    client = here.client()
    client.post("/act", data={"what": "a", "once": "k"})
    told = client.post("/act", data={"what": "b", "once": "k"})
    assert told.status_code == 409 and "something else in it" in told.text
    assert deeds.done == ["a"]


def test_a_refused_form_may_be_mended_and_sent_again(here: Room, deeds: Deeds) -> None:
    client = here.client()
    deeds.refuse = True
    assert client.post("/act", data={"what": "a", "once": "k"}).status_code == 400
    deeds.refuse = False
    assert client.post("/act", data={"what": "b", "once": "k"}).status_code == 303
    assert deeds.done == ["b"]


def test_what_broke_after_it_was_done_is_not_done_again(here: Room, deeds: Deeds) -> None:
    client = _quiet(here)
    deeds.break_ = True
    assert client.post("/act", data={"what": "a", "once": "k"}).status_code == 500
    deeds.break_ = False
    told = client.post("/act", data={"what": "a", "once": "k"})
    assert told.status_code == 409 and "Look at what was logged" in told.text
    assert deeds.done == ["a"]


def _quiet(here: Room) -> TestClient:
    made = TestClient(
        here.app, base_url=here.base, raise_server_exceptions=False, follow_redirects=False
    )
    known_browser(here.app, made, "q")
    return made


def test_two_at_the_same_moment_act_once(here: Room, deeds: Deeds) -> None:
    client = here.client()
    deeds.wait = threading.Event()
    form = {"what": "a", "once": "k"}
    statuses: list[int] = []
    first = threading.Thread(
        target=lambda: statuses.append(client.post("/act", data=form).status_code)
    )
    first.start()
    assert deeds.begun.wait(90)
    second = _twin(here, client).post("/act", data=form)
    deeds.wait.set()
    first.join()
    assert (statuses, second.status_code) == ([303], 409)
    assert deeds.done == ["a"]


def _twin(here: Room, client: TestClient) -> TestClient:
    made = TestClient(here.app, base_url=here.base, follow_redirects=False)
    made.cookies = client.cookies
    made.headers["X-CSRF"] = client.headers["X-CSRF"]
    return made


def test_answers_are_kept_over_a_long_weekend_and_not_for_ever(here: Room, deeds: Deeds) -> None:
    client = here.client()
    form = {"what": "a", "once": "k"}
    client.post("/act", data=form)
    here.clock.turn(hours=KEPT_HOURS - 1)
    client.post("/act", data=form)
    assert len(deeds.done) == 1
    here.clock.turn(hours=2)
    client.post("/act", data=form)
    assert len(deeds.done) == 2


def test_a_replay_finds_its_answer_after_the_server_began_anew(here: Room, deeds: Deeds) -> None:
    from tagkit.web.access.store import AccessStore

    client = here.client()
    client.post("/act", data={"what": "a", "once": "k"})
    here.app.state.access.close()
    here.app.state.access = AccessStore(here.folder)
    assert client.post("/act", data={"what": "a", "once": "k"}).status_code == 303
    assert len(deeds.done) == 1


def fill_the_disk(here: Room) -> None:
    """The access file may not grow any more, and is full."""
    pages = here.access.one("PRAGMA page_count")
    here.access.one(f"PRAGMA max_page_count = {pages[0]}")
    for table, values in (
        ("tries", "?, 0"), ("answers", "?, 'x', 9e9, 200, '', ''"), ("shifts", "?, 'X', 'pin', 9e9, 9e9"),
    ):  # fmt: skip
        for rest in ("x" * 900, ""):
            with pytest.raises(Busy, match="disk is full"):
                for number in range(10_000):
                    here.access.run(f"INSERT INTO {table} VALUES ({values})", (f"{number}{rest}",))


def test_on_a_full_disk_looking_goes_on_and_nothing_is_done_half(here: Room, deeds: Deeds) -> None:
    client = here.client()
    assert here.begin(client, "LEAD") == 303
    fill_the_disk(here)
    here.clock.turn(minutes=5)
    assert client.get("/").status_code == 200
    assert client.get("/api/assets").status_code == 200
    told = client.post("/act", data={"what": "a", "once": "k" * 900})
    assert told.status_code == 503 and "disk is full" in told.text and deeds.done == []
    assert here.begin(here.client(), "TECH") == 503
    here.access.one("PRAGMA max_page_count = 1000000")
    assert client.post("/act", data={"what": "a", "once": "k" * 900}).status_code == 303
    assert deeds.done == ["a"]


def test_what_is_done_stays_done_where_its_answer_can_not_be_kept(
    here: Room, deeds: Deeds, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise Busy("the disk is full", "Make room")

    client = here.client()
    monkeypatch.setattr("tagkit.web.access.once._keep", full)
    assert client.post("/act", data={"what": "a", "once": "k"}).status_code == 303
    assert client.post("/act", data={"what": "a", "once": "k"}).status_code == 409
    assert deeds.done == ["a"]
