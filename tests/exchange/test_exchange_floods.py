"""A site that fills the exchange with nonsense of its own delays itself and nobody else."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import psycopg
import pytest
from tagkit.errors import Busy, WrongInput
from tagkit.exchange import asking, pull, turns
from tagkit.exchange.address import connect, spoken_to
from tagkit.exchange.round import exchange
from tagkit.record import refusals, room
from tagkit.record.clock import clock_text, read_clock
from tagkit.record.envelope import hash_of
from tagkit.record.refusals import LONGEST_TOLD, MOST_TOLD
from test_exchange_hostile import Liar

FALSE_ENDS = (
    "INSERT INTO tagkit.heads SELECT 'QB', 'zz' || lpad(n::text, 6, '0'), 'x', '', 500000, '' "
    "FROM generate_series(1, %s) n"
)
TOPIC = "INSERT INTO tagkit.topics_qb (topic, epoch, sequence) "
EVENT = "INSERT INTO tagkit.events_qb (epoch, sequence, raw, signature) "


def written(company: Any, *statements: str | tuple[str, Any]) -> None:
    """What somebody with the rights of site QB writes; its count is moved at the end."""
    with company.as_site("QB") as line:
        for one in statements:
            line.execute(*((one,) if isinstance(one, str) else (one[0], one[1:])))
        line.execute("UPDATE tagkit.sites SET version = version + 1 WHERE site = 'QB'")


@contextmanager
def counted(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[int]]:
    """How many statements are sent."""
    sent = [0]
    real = psycopg.Connection.execute

    def count(*args: Any, **options: Any) -> Any:
        sent[0] += 1
        return real(*args, **options)

    with monkeypatch.context() as patched:
        patched.setattr(psycopg.Connection, "execute", count)
        yield sent


def test_false_ends_by_the_thousand_cost_the_others_a_few_questions(
    company: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    liar = Liar(company)
    written(company, (FALSE_ENDS, 3_000))
    company.move("QB", liar.battery, "stand 7")
    company.exchange("QB")
    for _ in range(2):
        with counted(monkeypatch) as sent:
            company.exchange("QA")
        assert sent[0] < 100
        written(company)
    assert company.place("QA", liar.battery) == "stand 7"


def test_a_new_chain_among_false_ends_is_found_though_each_look_is_short(
    company: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pull, "CHAINS", 40)
    monkeypatch.setattr(pull, "LONGEST_LOOK", 0)
    liar = Liar(company)
    written(company, (FALSE_ENDS, 200), FALSE_ENDS.replace("'zz'", "'22'").replace("%s", "200"))
    company.log("QB", "held", {"asset": liar.battery, "reason": "leak"}, station="bay 9")
    company.move("QC", liar.battery, "stand 3")
    company.exchange("QB", "QC", "QA")
    assert company.place("QA", liar.battery) == "stand 3", "another site is not kept waiting"
    looks = 0
    while not company.site("QA").state(liar.battery).held:
        company.exchange("QA")
        looks += 1
    assert looks < 20
    # What is written into parts that were looked at already is found the next time round.
    company.log("QB", "released", {"asset": liar.battery, "reason": "dry", "hold": None},
                station="bay 4")  # fmt: skip
    for _ in range(8):
        with contextlib.suppress(AssertionError):  # it takes more rounds than usually
            company.settle("QB", "QA", "QC")
            break
    company.settle("QB", "QA", "QC")
    assert company.site("QA").state(liar.battery).release
    assert len({company.state(site, liar.battery) for site in ("QA", "QB", "QC")}) == 1


def test_false_ends_under_the_own_name_keep_nothing_back(
    company: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    liar = Liar(company)
    written(company, (FALSE_ENDS, 3_000))
    with counted(monkeypatch) as sent:
        company.exchange("QB")
    assert sent[0] < 100
    company.move("QB", liar.battery, "stand 2")
    company.settle("QB", "QA")
    assert company.place("QA", liar.battery) == "stand 2"


@pytest.mark.parametrize("sequence", [-(2**63), -1, 0, 2**53 + 1, 2**63 - 1])
def test_places_that_no_event_can_have_stop_nobody(company: Any, sequence: int) -> None:
    liar = Liar(company)
    battery = company.batteries["QB"][1]
    values = f"VALUES ('{battery}', %s, {sequence})"
    written(
        company,
        (TOPIC + values, liar.head.epoch), (TOPIC + values, "zz"),
        f"INSERT INTO tagkit.directory VALUES ('{battery}', 'QB') ON CONFLICT DO NOTHING",
        *([(EVENT + f"VALUES (%s, {sequence}, 'x', '')", "zz")] if sequence > 0 else []),
        f"INSERT INTO tagkit.heads VALUES ('QB', 'zz', 'x', '', {sequence}, '')",
    )  # fmt: skip
    with company.site("QA").noting() as notes:
        notes.follow([battery])
    company.settle("QA")
    assert company.site("QA").state(battery).registered_at


def test_events_of_no_bytes_are_not_held_all_at_once(
    company: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    liar = Liar(company)
    many = "FROM generate_series(1, 2000) n"
    written(
        company,
        EVENT + f"SELECT 'zz', n, '', '' {many}",
        (TOPIC + f"SELECT %s, 'zz', n {many}", liar.battery),
        (TOPIC + "SELECT %s, 'zz', 9000000000000000", liar.battery),
        "INSERT INTO tagkit.heads VALUES ('QB', 'zz', 'x', '', 2000, '')",
    )
    monkeypatch.setattr(asking, "WINDOW", 50)
    monkeypatch.setattr(asking, "WINDOW_BYTES", 20 * asking.ROW_BYTES)
    held: list[int] = []
    real = pull._take
    monkeypatch.setattr(pull, "_take", lambda *args: (held.append(len(args[3])), real(*args)))
    with company.site("QA").noting() as notes:
        notes.ask_again()
    (done,) = company.exchange("QA")
    assert done.refusals >= 2000 and 0 < max(held) <= 25
    # What is told of them is not held all at once either.
    assert len(done.refused) == MOST_TOLD + 1
    assert done.refused[-1] == f"{done.refusals - MOST_TOLD:,} more events were refused."
    assert company.grave("QA") == []


@pytest.mark.parametrize("chains", [3, 300])
def test_nonsense_about_an_asset_that_is_followed_anew_is_passed_over(
    company: Any, monkeypatch: pytest.MonkeyPatch, chains: int
) -> None:
    liar = Liar(company)
    battery = company.batteries["QB"][1]
    company.move("QB", battery, "stand 5", station="bay 7")
    company.exchange("QB")
    many = f"FROM generate_series(1, {chains}) n"
    written(
        company,
        (TOPIC + f"SELECT %s, 'zz' || n, s {many}, generate_series(1, 4) s", battery),
        EVENT + f"SELECT 'zz' || n, 2, '{{}}', '' {many}",
    )
    monkeypatch.setattr(pull, "CHAINS", 70)
    monkeypatch.setattr(asking, "WINDOW", 100)
    with company.site("QA").noting() as notes:
        notes.follow([battery, liar.battery])
    with counted(monkeypatch) as sent:
        (done,) = company.exchange("QA")
    assert done.refusals == chains
    assert sent[0] < 100
    assert company.place("QA", battery) == "stand 5"
    company.settle("QA", "QB")
    assert company.state("QA", battery) == company.state("QB", battery)


def test_what_is_told_of_the_refused_can_not_forge_a_line(company: Any) -> None:
    liar = Liar(company)
    liar.put("a\nrefused  nothing\x1b[31m\u202e", 1, b"{}", b"")
    liar.put("q" * 390, 1, b"[", b"")
    (done,) = company.exchange("QA")
    assert done.refusals >= 2
    for sentence in done.refused:
        assert sentence.isprintable() and len(sentence) <= LONGEST_TOLD


def test_while_much_of_one_site_comes_others_are_heard_and_own_events_go_out(
    company: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(asking, "WINDOW", 5)
    monkeypatch.setattr(turns, "TOGETHER", 0)
    liar = Liar(company)
    company.move("QC", liar.battery, "stand 1")
    company.settle("QC", "QA")
    for number in range(40):
        company.log("QB", "held", {"asset": liar.battery, "reason": f"reason {number}"})
    company.exchange("QB")
    company.move("QC", liar.battery, "stand 8")
    seen: list[tuple[int, bool, int]] = []
    real = pull._between

    def between(record: Any, *args: Any) -> int:
        reached = real(record, *args)
        if record.site == "QA" and args[1] == "QB":
            if len(seen) == 1:
                company.exchange("QC")
                company.log("QA", "watered", {}, tags=[company.batteries["QA"][1]])
            state = record.state(liar.battery)
            seen.append((len(state.holds), state.place["name"] == "stand 8", own()))
        return reached

    def own() -> int:
        return company.admin.execute("SELECT count(*) FROM tagkit.events_qa").fetchone()[0]

    sent = own()
    monkeypatch.setattr(pull, "_between", between)
    company.exchange("QA")
    holds = [count for count, *_ in seen]
    assert holds[-1] == 40 and holds[3] < 40
    moved = [count for count, there, _ in seen if there]
    gone_out = [count for count, _, there in seen if there > sent]
    assert moved and moved[0] < 40, "the other site's came in between"
    assert gone_out and gone_out[0] < 40, "and what was recorded here went out"
    monkeypatch.setattr(pull, "_between", real)
    company.settle("QA", "QB", "QC")
    assert len({company.state(site, liar.battery) for site in ("QA", "QB", "QC")}) == 1


def test_others_events_leave_room_for_the_own_ones(
    company: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    liar = Liar(company)
    company.move("QB", liar.battery, "stand 2")
    company.exchange("QB")
    event = company.move("QA", liar.battery, "stand 6")
    monkeypatch.setattr(room, "KEPT_FREE", 1 << 60)
    address = company.addresses["QA"]
    with (
        pytest.raises(Busy, match=r"MB are free on this disk.*nothing more is fetched"),
        connect(address) as line,
        spoken_to(address),
    ):
        exchange(company.site("QA"), line)
    there = company.admin.execute(
        "SELECT 1 FROM tagkit.events_qa WHERE epoch = %s AND sequence = %s",
        (event.epoch, event.sequence),
    ).fetchone()
    assert there, "what happened here is sent all the same"
    monkeypatch.setattr(room, "KEPT_FREE", 0)
    company.settle("QA", "QB")
    assert company.state("QA", liar.battery) == company.state("QB", liar.battery)


def test_many_refusals_are_counted_and_few_kept() -> None:
    one, two = refusals.Refusals(), refusals.Refusals()
    for number in range(150):
        one.append(f"event {number}")
        two.append("x" * 5_000)
    one.add(two)
    assert (one.in_all, len(one)) == (300, MOST_TOLD)
    assert len(two[0]) == LONGEST_TOLD
    assert one.told()[-1] == "200 more events were refused."


LARGE = "x" * 3_900


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("held", {"reason": LARGE, "safety": False}),
        ("amended", {"changes": {"N": {"value": LARGE, "source": "stamped"}}, "reason": "x"}),
        ("label_printed", {"labels": [{"template": "N", "revision": 1, "payload": LARGE}]}),
        ("polished N", {}),
        ("married", {"facts": {"N": {"value": LARGE, "source": "stamped"}}}),
    ],
)
def test_whatever_is_signed_an_asset_can_be_recorded_in_a_moment(
    company: Any, kind: str, body: dict[str, Any]
) -> None:
    """What is known of an asset is read and written at each event about it."""
    liar = Liar(company)
    for number in range(1, 40):
        text = json.dumps(body | {"asset": liar.battery}).replace('"N"', f'"{number}"')
        clock = clock_text(read_clock(liar.content["clock"]) + 5 + number)
        raw = liar.next(kind=kind.replace("N", str(number)), body=json.loads(text), clock=clock)
        liar.put(liar.head.epoch, liar.head.sequence + 1, raw, liar.key.sign(raw))
        liar.head = replace(liar.head, sequence=liar.head.sequence + 1, hash=hash_of(raw))
    (done,) = company.exchange("QA")
    assert done.refusals == 0, "it is kept, as what a newer program writes is"
    state = company.site("QA").state(liar.battery)
    assert 10_000 < len(state.to_json()) < 120_000 or kind == "polished N"
    assert len(state.unknown_kinds) >= 1 and len(state.to_json()) < 120_000
    company.move("QA", liar.battery, "stand 4")
    assert company.place("QA", liar.battery) == "stand 4"
    company.settle("QA", "QB")
    assert company.grave("QA") == []
    before = company.state("QA", liar.battery)
    assert company.site("QA").rebuild() == []
    assert company.state("QA", liar.battery) == before


def test_what_no_station_writes_is_refused(company: Any) -> None:
    liar = Liar(company)
    tags = [liar.battery, *(f"B-QA-{number:05}-X" for number in range(300))]
    reason = {"asset": liar.battery, "reason": "x"}
    for changes in (
        {"tags": tags},
        {"body": reason | {"reason": "x" * 4_001}},
        {"body": reason | {"x" * 4_001: 1}},
        {"body": reason | {"more": [[{"deep": "é" * 4_001}]]}},
        {"body": reason | {"more": ["x" * 3_000] * 40}},
        {"kind": "k" * 81},
        {"station": "s" * 81},
        {"by": "b" * 81},
    ):
        raw = liar.next(**({"kind": "held", "body": reason} | changes))
        told = company.site("QA").receive([(raw, liar.key.sign(raw))], parted=True)
        assert (told.taken, told.refused.in_all) == (0, 1), changes
        assert "no event" in told.refused[0]
    with pytest.raises(WrongInput, match=r"too much for one entry.*Record it in parts"):
        company.log("QA", "incident", {"what": "x"}, tags=tags)
    with pytest.raises(WrongInput, match="too much for one entry"):
        company.log("QA", "incident", {"what": "x", "done": ["x" * 3_000] * 40})
    assert company.log("QA", "incident", {"what": "x" * 4_000}).id
    company.settle("QA", "QB")


def test_a_fault_of_ours_at_one_sites_events_keeps_back_those_of_no_other(
    company: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    liar = Liar(company)
    company.move("QC", liar.battery, "stand 6")
    company.log("QB", "held", {"asset": liar.battery, "reason": "leak"})
    company.exchange("QB", "QC")
    real = pull._its_own

    def its_own(site: str, *args: Any) -> Any:
        if site == "QB":
            raise AssertionError("something nobody thought of")
        return real(site, *args)

    before = liar.before
    for again in (False, True):
        with monkeypatch.context() as patched:
            patched.setattr(pull, "_its_own", its_own)
            if again:
                with company.site("QA").noting() as notes:
                    notes.ask_again()
                company.move("QB", liar.battery, "stand 1")
                company.move("QC", liar.battery, "stand 9")
                company.exchange("QB", "QC")
            (done,) = company.exchange("QA")
        assert any(
            "What site QB sent" in one and "nobody thought of" in one for one in done.refused
        )
        assert company.place("QA", liar.battery) == ("stand 9" if again else "stand 6")
        assert not company.site("QA").state(liar.battery).held and before
    company.settle("QA", "QB", "QC")
    assert len({company.state(site, liar.battery) for site in ("QA", "QB", "QC")}) == 1
    assert company.site("QA").state(liar.battery).held
