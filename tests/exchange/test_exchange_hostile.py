"""A bad peer can't break a record, and can't speak for another station or site."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import psycopg
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tagkit.errors import NotFound, WrongInput
from tagkit.exchange.address import connect
from tagkit.exchange.layout import give_site
from tagkit.exchange.round import exchange
from tagkit.exchange.topics import topics_of
from tagkit.record.clock import clock_text, read_clock
from tagkit.record.envelope import MalformedEvent, canonical, from_bytes, hash_of
from tagkit.record.keys import load_key, new_key


def stored(company: Any, site: str) -> list[tuple[str, int, bytes, bytes]]:
    return company.admin.execute(
        f"SELECT epoch, sequence, raw, signature FROM tagkit.events_{site.lower()} "
        "ORDER BY epoch, sequence"
    ).fetchall()


@pytest.mark.parametrize(
    "statement",
    [
        "INSERT INTO tagkit.events_qa (epoch, sequence, raw, signature) VALUES ('x', 1, 'x', 'x')",
        "INSERT INTO tagkit.topics_qa (topic, epoch, sequence) VALUES ('x', 'x', 1)",
        "INSERT INTO tagkit.events (site, epoch, sequence, raw, signature) "
        "VALUES ('QA', 'x', 1, 'x', 'x')",
        "UPDATE tagkit.events_qa SET raw = 'x'",
        "DELETE FROM tagkit.events_qa",
        "DELETE FROM tagkit.events_qb",
        "UPDATE tagkit.events_qb SET raw = 'x'",
        "TRUNCATE tagkit.heads",
        "INSERT INTO tagkit.heads VALUES ('QA', 'x', 'desk', 'x', 1, 'x')",
        "UPDATE tagkit.heads SET public_key = 'x'",
        "INSERT INTO tagkit.directory VALUES ('B-QA-00001-5', 'QA')",
        "INSERT INTO tagkit.sites (site, name, role) VALUES ('QX', 'x', 'x')",
        "UPDATE tagkit.sites SET name = 'x'",
        "UPDATE tagkit.sites SET role = current_user",
        "DELETE FROM tagkit.sites",
        "DROP TABLE tagkit.events_qb",
        "CREATE TABLE tagkit.mine (x int)",
    ],
)
def test_a_sites_role_may_write_nothing_of_another_and_change_nothing(
    company: Any, statement: str
) -> None:
    company.site("QA"), company.site("QB")
    company.exchange("QA", "QB")
    with company.as_site("QB") as connection, pytest.raises(psycopg.errors.InsufficientPrivilege):
        connection.execute(statement)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE tagkit.sites SET version = 0 WHERE site = 'QA'",
        "UPDATE tagkit.heads SET sequence = 0 WHERE site = 'QA'",
    ],
)
def test_the_rows_of_other_sites_are_out_of_reach(company: Any, statement: str) -> None:
    company.site("QA")
    company.exchange("QA")
    with company.as_site("QB") as connection:
        assert connection.execute(statement).rowcount == 0


def test_a_code_is_given_out_once_and_an_address_speaks_for_its_own_site(company: Any) -> None:
    with pytest.raises(WrongInput, match="given out to Depot QA"):
        give_site(company.admin, "QA", "Another")
    with (
        connect(company.addresses["QB"]) as connection,
        pytest.raises(WrongInput, match="belongs to"),
    ):
        exchange(company.site("QA"), connection)
    company.addresses["QZ"] = company.addresses["QB"]
    with pytest.raises(NotFound, match="was not given out"):
        company.exchange("QZ")


class Liar:
    """Someone with the rights of site QB who writes what no program of ours would."""

    def __init__(self, company: Any) -> None:
        self.company = company
        company.site("QA"), company.site("QB")
        self.battery = company.batteries["QA"][0]
        company.move("QA", self.battery, "site QB", "elsewhere")
        company.settle("QA", "QB")
        company.move("QB", self.battery, "stand 1")
        company.settle("QA", "QB")
        self.before = company.state("QA", self.battery)
        (head,) = [one for one in company.site("QB").heads() if one.site == "QB"]
        self.head = head
        self.key = load_key(company.folder / "QB" / "keys", head.epoch)
        event = company.site("QB").event(f"{head.epoch}-{head.sequence}")
        self.content = json.loads(event.raw)

    def put(self, epoch: str, sequence: int, raw: bytes, signature: bytes) -> None:
        with self.company.as_site("QB") as connection:
            connection.execute(
                "INSERT INTO tagkit.events_qb (epoch, sequence, raw, signature) "
                "VALUES (%s, %s, %s, %s)",
                (epoch, sequence, raw, signature),
            )
            connection.execute(
                "INSERT INTO tagkit.topics_qb (topic, epoch, sequence) VALUES (%s, %s, %s)",
                (self.battery, epoch, sequence),
            )
            connection.execute(
                "INSERT INTO tagkit.heads VALUES ('QB', %s, 'desk', '', %s, '') "
                "ON CONFLICT (site, epoch) DO UPDATE SET sequence = excluded.sequence",
                (epoch, sequence),
            )
            connection.execute("UPDATE tagkit.sites SET version = version + 1 WHERE site = 'QB'")

    def next(self, **changes: Any) -> bytes:
        clock = clock_text(read_clock(self.content["clock"]) + 5)
        follows = {"sequence": self.head.sequence + 1, "previous": self.head.hash, "clock": clock}
        return canonical(self.content | follows | changes)

    def refused(self) -> str:
        (done,) = self.company.exchange("QA")
        assert self.company.state("QA", self.battery) == self.before
        assert self.company.grave("QA") == []
        return " ".join(done.refused)


def test_an_unsigned_event_is_refused(company: Any) -> None:
    liar = Liar(company)
    liar.put(liar.head.epoch, liar.head.sequence + 1, liar.next(), bytes(64))
    assert "signature" in liar.refused()


def test_an_event_that_says_to_be_of_another_site_is_refused(company: Any) -> None:
    liar = Liar(company)
    raw = liar.next(site="QA")
    liar.put(liar.head.epoch, liar.head.sequence + 1, raw, liar.key.sign(raw))
    assert "of QA" in liar.refused()


def test_a_chain_begun_in_the_name_of_another_site_is_refused(company: Any) -> None:
    liar = Liar(company)
    key = new_key(company.folder / "liar")
    body = {"public_key": key.public.hex(), "reason": "new", "cites": []}
    raw = liar.next(site="QA", epoch=key.epoch, sequence=1, previous="0" * 64,
                    kind="epoch_started", body=body)  # fmt: skip
    liar.put(key.epoch, 1, raw, key.sign(raw))
    assert "of QA" in liar.refused()


def test_the_events_of_another_site_can_not_be_told_or_hidden(company: Any) -> None:
    """Site QB puts a chain of QA under its own name: QC must still ask QA for it."""
    liar = Liar(company)
    company.move("QC", liar.battery, "stand 5")
    company.settle("QC", "QA", "QB")
    (epoch,) = {head.epoch for head in company.site("QA").heads() if head.site == "QA"}
    there = [row for row in stored(company, "QA") if row[0] == epoch]
    for sequence in range(1, there[-1][1] + 20):
        raw, signature = there[min(sequence, len(there)) - 1][2:]
        liar.put(epoch, sequence, raw, signature)
    company.log("QA", "held", {"asset": liar.battery, "reason": "leak"})
    company.exchange("QA")
    (done,) = company.exchange("QC")
    assert "of QA" in " ".join(done.refused)
    company.settle("QA", "QC")
    assert company.site("QC").state(liar.battery).held
    assert company.state("QC", liar.battery) == company.state("QA", liar.battery)
    assert company.grave("QC") == []


def test_a_chain_whose_key_is_not_the_epochs_is_refused(company: Any) -> None:
    liar = Liar(company)
    key, other = new_key(company.folder / "liar"), new_key(company.folder / "liar")
    body = {"public_key": other.public.hex(), "reason": "new", "cites": []}
    raw = liar.next(epoch=key.epoch, sequence=1, previous="0" * 64, kind="epoch_started", body=body)
    liar.put(key.epoch, 1, raw, other.sign(raw))
    assert "named after its key" in liar.refused()


def test_a_second_event_in_the_place_of_one_is_refused(company: Any) -> None:
    liar = Liar(company)
    raw = liar.next(sequence=liar.head.sequence, previous=liar.content["previous"])
    with company.admin.transaction():
        company.admin.execute(
            "UPDATE tagkit.events_qb SET raw = %s, signature = %s WHERE epoch = %s AND sequence = %s",
            (raw, liar.key.sign(raw), liar.head.epoch, liar.head.sequence),
        )
        company.admin.execute("UPDATE tagkit.sites SET version = version + 1 WHERE site = 'QB'")
    with company.site("QA").noting() as notes:
        notes.ask_again()
    assert "another event stands" in liar.refused()


@pytest.mark.parametrize("raw", [b"", b"{}", b"\xff\xfe", b"[" * 50_000, b'{"site":"QB"}'])
def test_bytes_that_are_no_event_are_refused(company: Any, raw: bytes) -> None:
    liar = Liar(company)
    liar.put(liar.head.epoch, liar.head.sequence + 1, raw, bytes(64))
    assert "no event" in liar.refused()


def test_another_site_makes_nobody_a_supervisor_here(company: Any) -> None:
    liar = Liar(company)
    body = {"person": "EV", "initials": "EV", "role": "supervisor"}
    raw = liar.next(kind="authorised", body=body)
    liar.put(liar.head.epoch, liar.head.sequence + 1, raw, liar.key.sign(raw))
    (done,) = company.exchange("QA")
    assert done.refused == ()
    assert company.site("QA").person("EV") is None
    assert company.site("QA").people() == {}
    assert company.grave("QA") == []


def test_false_ends_and_promises_hold_nothing_up(company: Any) -> None:
    liar = Liar(company)
    with company.as_site("QB") as connection:
        connection.execute("UPDATE tagkit.heads SET sequence = 9000000 WHERE site = 'QB'")
        connection.execute("INSERT INTO tagkit.heads VALUES ('QB', 'zz', 'x', '', 500000, '')")
        connection.execute("UPDATE tagkit.sites SET version = version + 1 WHERE site = 'QB'")
    assert liar.refused() == ""
    company.admin.execute(
        "UPDATE tagkit.heads SET sequence = %s WHERE epoch = %s",
        (liar.head.sequence, liar.head.epoch),
    )
    company.move("QB", liar.battery, "stand 2")
    company.settle("QB", "QA")
    assert company.place("QA", liar.battery) == "stand 2"


def test_what_a_newer_program_wrote_is_kept_passed_on_and_not_confirmed(company: Any) -> None:
    liar = Liar(company)
    raw = liar.next(kind="polished", version=3, body={"shine": 9})
    liar.put(liar.head.epoch, liar.head.sequence + 1, raw, liar.key.sign(raw))
    (done,) = company.exchange("QA")
    assert done.refused == ()
    state = company.site("QA").state(liar.battery)
    assert state.unknown_kinds == ["polished v3"]
    assert [c.kind for c in company.site("QA").contradictions()] == ["not understood"]
    # A third site gets it in the same bytes.
    company.move("QA", liar.battery, "site QC", "elsewhere")
    company.settle("QA", "QC")
    event = company.site("QC").event(f"{liar.head.epoch}-{liar.head.sequence + 1}")
    assert event.raw == raw
    assert company.state("QC", liar.battery) == company.state("QA", liar.battery)


LONG = 10**400
NO_STATE = [
    ("changed", {"truck": {"a": 1}, "battery_in": "B"}),
    ("changed", {"truck": "T", "battery_in": [7]}),
    ("changed", {"truck": LONG, "battery_in": "B"}),
    ("charge_started", {"battery": "B", "charge_kind": "equalize", "charger": {"x": []}}),
    ("charge_ended", {"battery": "B", "ah": LONG}),
    ("charge_ended", {"battery": "B", "current": [[LONG, 1]]}),
    ("watered", {"litres": LONG}),
    ("cells_read", {"cells": [{"cell": 1, "sg": LONG}]}),
    ("cells_read", {"cells": [{"cell": 1, "temperature": LONG}], "temperature_unit": "°F"}),
    ("capacity_tested", {"percent_of_rated": -LONG}),
    ("leakage_tested", {"ohm": {"value": LONG}}),
    ("cleaned", {"case_to_post_ohm": LONG}),
]


def test_signed_figures_that_nothing_can_hold_keep_no_other_event_back(company: Any) -> None:
    """One such event ended every exchange of every site that had the battery."""
    liar = Liar(company)
    for number, (kind, body) in enumerate(NO_STATE):
        text = json.dumps(body).replace('"B"', f'"{liar.battery}"')
        clock = clock_text(read_clock(liar.content["clock"]) + 5 + number)
        raw = liar.next(kind=kind, body=json.loads(text), clock=clock)
        liar.put(liar.head.epoch, liar.head.sequence + 1, raw, liar.key.sign(raw))
        liar.head = replace(liar.head, sequence=liar.head.sequence + 1, hash=hash_of(raw))
    company.move("QC", liar.battery, "stand 7")
    company.exchange("QC")
    (done,) = company.exchange("QA")
    assert done.refused == ()
    state = company.site("QA").state(liar.battery)
    assert state.place["name"] == "stand 7"
    assert state.events >= len(NO_STATE) and len(state.unknown_kinds) >= 5, "nothing is confirmed"
    assert company.grave("QA") == []
    company.settle("QA", "QC")
    assert company.state("QC", liar.battery) == company.state("QA", liar.battery)


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=9)
    | st.sampled_from([10**400, -(10**400), 2**63]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=8,
)  # fmt: skip
FIELDS = ("site", "station", "epoch", "sequence", "happened_at", "recorded_at", "clock", "by",
          "kind", "version", "tags", "body", "seen", "after", "previous")  # fmt: skip


@settings(max_examples=150)
@given(
    changes=st.dictionaries(st.sampled_from(FIELDS), json_values, max_size=3),
    body=st.dictionaries(
        st.sampled_from(["battery", "place", "truck", "event", "asset", "person", "nameplate",
                         "labels", "facts", "reason", "temperature", "cells", "hours", "ah",
                         "battery_in", "litres", "ohm", "percent_of_rated", "charge_kind"]),
        json_values, max_size=4,
    ),
    kind=st.sampled_from(["moved", "changed", "voided", "authorised", "registered", "amended",
                          "label_printed", "charge_started", "held", "cells_read", "watered",
                          "inspected", "capacity_tested", "repaired", "incident", "other"]),
    refresh=st.booleans(),
)  # fmt: skip
def test_whatever_a_signed_event_says_the_record_stays_whole(
    hostile_peer: Any, changes: dict[str, Any], body: dict[str, Any], kind: str, refresh: bool
) -> None:
    """The peer holds a real key: its signatures are right, whatever nonsense they are on."""
    peer = hostile_peer
    content = peer.next(kind, {"kind": kind, "body": body} | changes)
    try:
        raw = canonical(content)
    except (ValueError, TypeError):
        return  # not even JSON
    received = peer.record.receive([(raw, peer.key.sign(raw))], parted=True)
    assert received.taken + len(received.refused) == 1
    if received.taken:
        peer.took(raw)
    state = peer.record.state(peer.battery)
    assert state is not None and state.tag == peer.battery
    for event in peer.record.timeline(peer.battery, 3):
        assert isinstance(replace(event).id, str)
    peer.record.contradictions()
    try:
        topics_of(from_bytes(raw), None, 5)
    except MalformedEvent:
        assert received.refused


@pytest.fixture(scope="module")
def hostile_peer(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A record that follows a battery, and a peer whose key it knows."""
    from tagkit.assets.tag import Kind
    from tagkit.record.record import Record
    from tagkit.record.verify import verify

    top = tmp_path_factory.mktemp("hostile")

    class Peer:
        def __init__(self) -> None:
            with Record.create(top / "peer", "QB") as record:
                with record.writing("TS", "desk") as writing:
                    self.battery = str(writing.issue(Kind.BATTERY))
                    event = writing.append("registered", [self.battery], {"nameplate": {}})
                parcels = list(record.export())
            self.key = load_key(top / "peer" / "keys", event.epoch)
            self.content = json.loads(event.raw)
            self.sequence, self.previous = event.sequence, event.hash
            self.record = Record.create(top / "here", "QA")
            with self.record.noting() as notes:
                notes.follow([self.battery])
            assert self.record.receive(parcels, parted=True).taken == 2

        def next(self, kind: str, changes: dict[str, Any]) -> dict[str, Any]:
            clock = clock_text(read_clock(self.content["clock"]) + self.sequence)
            return (
                self.content
                | {"sequence": self.sequence + 1, "previous": self.previous, "clock": clock}
                | changes
            )

        def took(self, raw: bytes) -> None:
            self.sequence, self.previous = from_bytes(raw).sequence, hash_of(raw)

    peer = Peer()
    yield peer
    peer.record.close()
    assert [str(one) for one in verify(top / "here") if one.grave] == []
