"""Whatever a peer signs about an asset that is followed here: every page can still be shown."""

from __future__ import annotations

import json
import random
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from known_browsers import known_browser
from tagkit.assets.tag import Kind
from tagkit.jobs import judging
from tagkit.jobs.people import authorise
from tagkit.jobs.site import create_site, open_site
from tagkit.record.bodies import SHAPES
from tagkit.record.clock import clock_text, read_clock
from tagkit.record.envelope import canonical, hash_of
from tagkit.record.keys import load_key
from tagkit.record.record import Record
from tagkit.record.verify import verify
from tagkit.web.app import create_app
from tagkit.web.options import ServeOptions

EVENTS = 100
ENDLESS = re.compile(r"live|stream|changes|static|openapi|docs|_before|camera")
NAMES = sorted(
    {name for shape in SHAPES.values() for name in (*shape.required, *dict(shape.defaults))}
    | {"cell", "voltage", "level", "maker_serial", "template", "revision", "payload", "value",
       "unit", "percent", "by", "at"}
)  # fmt: skip
ODD: list[Any] = [
    10**400, -(10**400), 2**63, 1e308, -1e308, 0.1, 0, -1, True, False, None, "", "x", "\ud7ff",
    "\U0010ffff", "1e999", "nan", "9" * 300, "٣", "2026-03-02", "2026-03-02T06:00:00+00:00",
    "9999-12-31T23:59:59.999+00:00", [], {}, [[]], [{}], {"value": 10**400}, {"value": None},
    {"value": "1e999", "unit": "°F"}, {"kind": "elsewhere", "name": "site QA"},
    {"kind": [], "name": {}},
]  # fmt: skip


class Peer:
    """A site with a real key that fills the bodies of real kinds with anything."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.chance = random.Random(seed)
        with Record.create(folder, "QB") as record:
            with record.writing("TS", "desk") as writing:
                self.battery, self.truck = (
                    str(writing.issue(kind)) for kind in (Kind.BATTERY, Kind.TRUCK)
                )
                for tag in (self.battery, self.truck):
                    event = writing.append("registered", [tag], {"nameplate": {}})
            self.parcels = list(record.export())
        self.key = load_key(folder / "keys", event.epoch)
        self.content = json.loads(event.raw)
        self.sequence, self.previous = event.sequence, event.hash

    def events(self, count: int) -> Iterator[tuple[bytes, bytes]]:
        kinds = [kind for kind in SHAPES if kind != "epoch_started"]
        for _ in range(count):
            kind = self.chance.choice(kinds)
            clock = clock_text(read_clock(self.content["clock"]) + self.sequence)
            raw = canonical(
                self.content
                | {"sequence": self.sequence + 1, "previous": self.previous, "clock": clock,
                   "kind": kind, "body": self.body(kind), "tags": [self.battery, self.truck]}
            )  # fmt: skip
            self.sequence, self.previous = self.sequence + 1, hash_of(raw)
            yield raw, self.key.sign(raw)

    def body(self, kind: str) -> dict[str, Any]:
        chance, shape = self.chance, SHAPES[kind]
        names = [*shape.required, *(n for n in dict(shape.defaults) if chance.random() < 0.4)]
        body = {name: self.value() for name in names}
        likely: dict[str, list[Any]] = {
            **{name: [self.battery, self.truck] for name in shape.tags},
            "charge_kind": ["conventional"], "verdict": ["good"],
            "event": [f"{self.content['epoch']}-{chance.randrange(1, self.sequence + 2)}"],
            "labels": [[{"template": "x", "revision": 1, "payload": self.value(2)}]],
            "current": [[[self.value(2), self.value(2)] for _ in range(3)]],
            "cells": [[{"cell": 1, "sg": self.value(2), "temperature": self.value(2)}]],
            "place": [{"kind": "stand", "name": "x"}, {"kind": "truck", "name": self.truck}],
        }  # fmt: skip
        for name in body.keys() & likely.keys():
            if chance.random() < 0.7:
                body[name] = chance.choice(likely[name])
        return body

    def value(self, depth: int = 0) -> Any:
        chance = self.chance
        if depth > 2 or chance.random() < 0.65:
            return chance.choice([*ODD, self.battery, self.truck])
        if chance.random() < 0.5:
            return [self.value(depth + 1) for _ in range(chance.randrange(4))]
        return {chance.choice(NAMES): self.value(depth + 1) for _ in range(chance.randrange(4))}


def addresses(routes: Iterable[Any], *tags: str) -> Iterator[str]:
    """The pages that are read, those of an asset once for each of these."""
    for route in routes:
        inner = getattr(route, "original_router", route)
        if hasattr(inner, "routes"):
            yield from addresses(inner.routes, *tags)
        path = getattr(route, "path", "")
        if "GET" not in (getattr(route, "methods", None) or ()) or ENDLESS.search(path):
            continue
        for tag in tags if "{" in path else tags[:1]:
            yield re.sub(r"\{[^}]*\}", tag, path)


@pytest.mark.parametrize("seed", [2, 4])
def test_every_page_can_be_shown_whatever_a_peer_signs(tmp_path: Path, seed: int) -> None:
    peer, folder = Peer(tmp_path / "peer", seed), tmp_path / "here"
    with create_site(folder, "QA") as site:
        authorise(site, "SW", "", "supervisor", None, None, by="SW", station="desk")
        with site.record.noting() as notes:
            notes.follow([peer.battery, peer.truck])
        assert site.record.receive(peer.parcels, parted=True).taken == 3
    app = create_app(ServeOptions(folder))
    with TestClient(app, base_url="http://127.0.0.1:8642") as client:
        known_browser(app, client)
        assert client.post("/shift/open", data={"who": "SW"}).status_code == 200
        pages = sorted(set(addresses(app.routes, peer.battery, peer.truck)))
        assert len(pages) > 40
        for _ in range(2):
            with open_site(folder) as site:
                told = site.record.receive(peer.events(EVENTS // 2), parted=True)
            assert (told.taken, told.refused) == (EVENTS // 2, [])
            for address in pages:  # a fault of ours is raised
                assert client.get(address).status_code < 500 or address == "/health", address
    assert [one for one in verify(folder) if one.grave] == []


def test_an_asset_that_can_not_be_judged_hides_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = judging.judge_asset

    def judge(site: Any, state: Any, *args: Any) -> Any:
        if state.tag.startswith("B") and state.holds:
            raise KeyError("nobody thought of this")
        return real(site, state, *args)

    monkeypatch.setattr(judging, "judge_asset", judge)
    with create_site(tmp_path / "here", "QA") as site:
        with site.record.writing("TS", "desk") as writing:
            tags = [str(writing.issue(Kind.BATTERY)) for _ in range(2)]
            for tag in tags:
                writing.append("registered", [tag], {"nameplate": {}})
            writing.append("held", [], {"asset": tags[0], "reason": "leak"})
        judging.catch_up(site)
        rows = [site.record.outlook().row(tag) for tag in tags]
        assert rows[0] and rows[0].standing == "not confirmed" and rows[1]
        outlook = site.record.outlook()
        told = {(one.tag, one.code) for tag in tags for one in outlook.notices_of(tag)}
        assert (tags[0], "not understood") in told and (tags[1], "not married") in told
