"""What a peer may write with real rights and real keys, and what must not come of it."""

from __future__ import annotations

import contextlib
import json
from typing import Any

import psycopg
import pytest
from tagkit.exchange import asking, pull
from tagkit.exchange.layout import MOST_CONNECTIONS
from tagkit.record.clock import clock_text, read_clock
from tagkit.record.envelope import NO_EVENT, canonical, hash_of
from tagkit.record.keys import new_key
from test_exchange_hostile import Liar


def loosely(content: dict[str, Any]) -> bytes:
    """JSON as other writers make it: half characters and no-numbers pass."""
    return json.dumps(content, sort_keys=True, separators=(",", ":")).encode()


def nested(depth: int) -> bytes:
    return b'{"a":' * depth + b"1" + b"}" * depth


def held(liar: Liar, reason: Any = "x") -> dict[str, Any]:
    return {"kind": "held", "body": {"asset": liar.battery, "reason": reason, "safety": False}}


def with_half_a_character(liar: Liar) -> bytes:
    return loosely(liar.content | follows(liar) | held(liar, "\ud800"))


def with_no_number(liar: Liar) -> bytes:
    return loosely(liar.content | follows(liar) | held(liar, float("nan")))


def with_endless_number(liar: Liar) -> bytes:
    raw = canonical(liar.content | follows(liar) | held(liar, 777))
    return raw.replace(b":777", b":1e999")


def with_blanks(liar: Liar) -> bytes:
    return liar.next(**held(liar)).replace(b":", b": ", 1)


def with_a_name_twice(liar: Liar) -> bytes:
    return liar.next(**held(liar))[:-1] + b',"version":1}'


def nesting_deep(liar: Liar) -> bytes:
    return liar.next(**held(liar, "DEEP")).replace(b'"DEEP"', nested(60))


def nesting_deeper_than_any_reader(liar: Liar) -> bytes:
    return liar.next(**held(liar, "DEEP")).replace(b'"DEEP"', nested(100_000))


def at_the_end_of_the_calendar(liar: Liar) -> bytes:
    return liar.next(happened_at="9999-12-31T23:59:59.999-23:59")


def at_its_beginning(liar: Liar) -> bytes:
    return liar.next(happened_at="0001-01-01T00:00:00.000+23:59")


def with_the_last_clock_there_is(liar: Liar) -> bytes:
    return liar.next(clock="ffffffffffff-ffff")


def in_another_alphabet(liar: Liar) -> bytes:
    return liar.next(**held(liar)).decode().encode("utf-16")


def follows(liar: Liar) -> dict[str, Any]:
    clock = clock_text(read_clock(liar.content["clock"]) + 5)
    return {"sequence": liar.head.sequence + 1, "previous": liar.head.hash, "clock": clock}


NO_STATION_WRITES = [
    with_half_a_character, with_no_number, with_endless_number, with_blanks, with_a_name_twice,
    nesting_deep, nesting_deeper_than_any_reader, at_the_end_of_the_calendar, at_its_beginning,
    with_the_last_clock_there_is, in_another_alphabet,
]  # fmt: skip


def test_signed_bytes_that_no_station_writes_are_refused_and_hold_nothing_up(company: Any) -> None:
    liar = Liar(company)
    record = company.site("QA")
    for write in NO_STATION_WRITES:
        raw = write(liar)
        told = record.receive([(raw, liar.key.sign(raw))], parted=True)
        assert told.taken == 0 and "no event" in " ".join(told.refused), write.__name__
    raw = with_half_a_character(liar)
    liar.put(liar.head.epoch, liar.head.sequence + 1, raw, liar.key.sign(raw))
    assert "no event" in liar.refused()
    company.move("QC", liar.battery, "stand 7")
    company.settle("QC", "QA")
    assert company.place("QA", liar.battery) == "stand 7", "others are heard all the same"


def test_another_site_can_not_give_our_events_a_date(company: Any) -> None:
    """Citing an event says that one comes after it, which may pull that one back in time."""
    liar = Liar(company)
    company.log("QA", "held", {"asset": liar.battery, "reason": "leak"})
    company.settle("QA", "QB")
    before = [(one.id, one.moment) for one in company.site("QA").timeline(liar.battery, 20)]
    ours = next(head for head in company.site("QA").heads() if head.site == "QA")
    raw = liar.next(clock="000000000001-0000", after=[f"{ours.epoch}-{ours.sequence}"])
    liar.put(liar.head.epoch, liar.head.sequence + 1, raw, liar.key.sign(raw))
    (done,) = company.exchange("QA")
    assert done.fetched == 1
    after = {one.id: one.moment for one in company.site("QA").timeline(liar.battery, 20)}
    mine = [(name, moment) for name, moment in before if name.startswith(ours.epoch)]
    assert mine and all(after[name] == moment for name, moment in mine)
    assert company.site("QA").state(liar.battery).held
    assert company.grave("QA") == []


def test_an_old_event_under_a_new_number_is_refused(company: Any) -> None:
    liar = Liar(company)
    event = company.site("QB").event(f"{liar.head.epoch}-{liar.head.sequence}")
    liar.put(liar.head.epoch, liar.head.sequence + 1, event.raw, event.signature)
    assert f"it says to be {event.id}" in liar.refused()


def test_the_body_of_one_event_under_the_signature_of_another_is_refused(company: Any) -> None:
    liar = Liar(company)
    signed = liar.next(body={"battery": liar.battery, "place": {"kind": "stand", "name": "a"}})
    other = liar.next(body={"battery": liar.battery, "place": {"kind": "stand", "name": "b"}})
    liar.put(liar.head.epoch, liar.head.sequence + 1, other, liar.key.sign(signed))
    assert "signature" in liar.refused()


def test_an_event_signed_with_the_key_of_another_station_is_refused(company: Any) -> None:
    liar = Liar(company)
    with company.site("QB").writing("TS", "bay 2") as writing:
        theirs = writing.append("held", [liar.battery], {"asset": liar.battery, "reason": "x"})
    from tagkit.record.keys import load_key

    key = load_key(company.folder / "QB" / "keys", theirs.epoch)
    assert key and key.epoch != liar.head.epoch
    raw = liar.next()
    liar.put(liar.head.epoch, liar.head.sequence + 1, raw, key.sign(raw))
    assert "signature" in liar.refused()


def test_an_event_that_names_another_one_before_it_is_refused(company: Any) -> None:
    liar = Liar(company)
    raw = liar.next(previous=hash_of(b"another"))
    liar.put(liar.head.epoch, liar.head.sequence + 1, raw, liar.key.sign(raw))
    assert "does not follow the one before it" in liar.refused()


def test_a_chain_that_was_never_begun_is_refused(company: Any) -> None:
    liar = Liar(company)
    key = new_key(company.folder / "liar")
    raw = liar.next(epoch=key.epoch, sequence=2, previous=NO_EVENT)
    liar.put(key.epoch, 2, raw, key.sign(raw))
    with company.as_site("QB") as connection:
        one = canonical(liar.content | {"epoch": key.epoch, "sequence": 1})
        connection.execute(
            "INSERT INTO tagkit.events_qb (epoch, sequence, raw, signature) VALUES (%s, 1, %s, %s)",
            (key.epoch, one, key.sign(one)),
        )
        connection.execute("UPDATE tagkit.sites SET version = version + 1 WHERE site = 'QB'")
    assert "beginning of its chain is missing" in liar.refused()


def test_a_gap_is_waited_for_and_then_closed(company: Any) -> None:
    liar = Liar(company)
    first = liar.next(**held(liar, "first"))
    content = json.loads(first)
    second = canonical(
        content | held(liar, "second")
        | {"sequence": content["sequence"] + 1, "previous": hash_of(first),
           "clock": clock_text(read_clock(content["clock"]) + 5)}
    )  # fmt: skip
    liar.put(liar.head.epoch, content["sequence"] + 1, second, liar.key.sign(second))
    assert liar.refused() == ""
    liar.put(liar.head.epoch, content["sequence"], first, liar.key.sign(first))
    with company.as_site("QB") as connection:
        connection.execute(
            "UPDATE tagkit.heads SET sequence = %s WHERE epoch = %s",
            (content["sequence"] + 1, liar.head.epoch),
        )
    (done,) = company.exchange("QA")
    assert done.fetched == 2 and done.refused == ()
    assert [one["reason"] for one in company.site("QA").state(liar.battery).holds] == [
        "first", "second",
    ]  # fmt: skip


def test_two_events_for_one_place_are_not_both_believed(company: Any) -> None:
    """The station says one thing to one site and another to the next."""
    liar = Liar(company)
    company.move("QC", liar.battery, "stand 9")
    company.settle("QC", "QA", "QB", "QC")
    one, other = liar.next(**held(liar, "one")), liar.next(**held(liar, "other"))
    liar.put(liar.head.epoch, liar.head.sequence + 1, one, liar.key.sign(one))
    company.exchange("QA")
    with company.as_site("QB") as connection, pytest.raises(psycopg.errors.UniqueViolation):
        connection.execute(
            "INSERT INTO tagkit.events_qb (epoch, sequence, raw, signature) VALUES (%s, %s, %s, %s)",
            (liar.head.epoch, liar.head.sequence + 1, other, liar.key.sign(other)),
        )
    company.admin.execute(
        "UPDATE tagkit.events_qb SET raw = %s, signature = %s WHERE epoch = %s AND sequence = %s",
        (other, liar.key.sign(other), liar.head.epoch, liar.head.sequence + 1),
    )
    (told_other,) = company.exchange("QC")
    assert told_other.fetched == 1
    with company.site("QA").noting() as notes:
        notes.ask_again()
    (done,) = company.exchange("QA")
    assert "another event stands in its place" in " ".join(done.refused)
    assert [one["reason"] for one in company.site("QA").state(liar.battery).holds] == ["one"]


def test_an_end_that_goes_back_takes_nothing_away(company: Any) -> None:
    liar = Liar(company)
    with company.as_site("QB") as connection:
        connection.execute("UPDATE tagkit.heads SET sequence = 1, hash = 'x' WHERE site = 'QB'")
        connection.execute("UPDATE tagkit.sites SET version = version - 1 WHERE site = 'QB'")
    assert liar.refused() == ""
    company.move("QB", liar.battery, "stand 2")
    company.settle("QB", "QA")
    assert company.place("QA", liar.battery) == "stand 2"


def test_a_clock_far_ahead_is_set_apart_and_wins_nothing(company: Any) -> None:
    liar = Liar(company)
    raw = liar.next(clock="0fffffffffff-0000")  # the year 2527
    liar.put(liar.head.epoch, liar.head.sequence + 1, raw, liar.key.sign(raw))
    assert liar.refused() == ""
    assert company.site("QA").notes().apart() == 1
    company.move("QA", liar.battery, "stand 4")
    company.exchange("QA")
    assert company.place("QA", liar.battery) == "stand 4"


def test_a_known_kind_in_a_newer_form_is_kept_and_leaves_its_asset_not_confirmed(
    company: Any,
) -> None:
    liar = Liar(company)
    raw = liar.next(version=2, body={"battery": liar.battery, "whereto": [1, 2]})
    liar.put(liar.head.epoch, liar.head.sequence + 1, raw, liar.key.sign(raw))
    (done,) = company.exchange("QA")
    assert done.refused == ()
    assert company.site("QA").state(liar.battery).unknown_kinds == ["moved v2"]


WAYS_ROUND = [
    "LOCK TABLE tagkit.sites IN ACCESS EXCLUSIVE MODE",
    "LOCK TABLE tagkit.events_qa IN SHARE MODE",
    "SELECT * FROM tagkit.events_qa FOR UPDATE",
    "TRUNCATE tagkit.events_qb",
    "UPDATE tagkit.events_qb SET signature = 'x'",
    "DELETE FROM tagkit.topics_qb",
    "DELETE FROM tagkit.directory",
    "DELETE FROM tagkit.heads WHERE site = 'QB'",
    "UPDATE tagkit.heads SET station = 'x' WHERE site = 'QB'",
    "UPDATE tagkit.heads SET site = 'QA'",
    "UPDATE tagkit.sites SET site = 'QA'",
    "UPDATE tagkit.exchange SET id = 'x'",
    "ALTER TABLE tagkit.events_qb DISABLE TRIGGER ALL",
    "ALTER TABLE tagkit.heads DISABLE ROW LEVEL SECURITY",
    "CREATE POLICY mine ON tagkit.heads USING (true)",
    "CREATE RULE mine AS ON INSERT TO tagkit.events_qb DO INSTEAD NOTHING",
    "CREATE TRIGGER mine BEFORE INSERT ON tagkit.events_qa EXECUTE FUNCTION x()",
    "CREATE ROLE mine SUPERUSER",
    "SET ROLE postgres",
    "SET SESSION AUTHORIZATION postgres",
    "COPY (SELECT 1) TO PROGRAM 'true'",
    "COPY tagkit.events_qa (epoch, sequence, raw, signature) FROM STDIN",
    "SELECT pg_read_file('/etc/passwd')",
    "SELECT rolpassword FROM pg_authid",
    "CREATE TABLE public.mine (x int)",
    "CREATE TEMP TABLE mine (x int)",
    "ALTER ROLE CURRENT_USER CONNECTION LIMIT -1",
    "CREATE FUNCTION tagkit.mine() RETURNS int LANGUAGE sql AS 'SELECT 1'",
    "INSERT INTO tagkit.events_qa SELECT 'QB', 'x', 1, 'x', 'x'",
]


def test_a_sites_role_has_no_way_round_its_rights(company: Any) -> None:
    company.site("QA"), company.site("QB")
    company.exchange("QA", "QB")
    done = []
    with company.as_site("QB") as connection:
        for statement in WAYS_ROUND:
            try:
                with connection.transaction():
                    connection.execute(statement)
            except psycopg.errors.InsufficientPrivilege:
                continue
            done.append(statement)
        connection.execute("GRANT SELECT ON tagkit.events_qb TO PUBLIC")
        connection.execute("GRANT ALL ON tagkit.heads TO PUBLIC")
    assert done == []
    rights = company.admin.execute(
        "SELECT relname FROM pg_class WHERE relnamespace = 'tagkit'::regnamespace "
        "AND relacl::text ~ '[{,]=.'"
    ).fetchall()
    assert rights == [], "nothing is anybody's"


def test_a_site_can_not_take_all_the_connections_there_are(company: Any) -> None:
    with contextlib.ExitStack() as stack:
        with pytest.raises(psycopg.OperationalError, match="too many connections for role"):
            for _ in range(MOST_CONNECTIONS + 1):
                stack.enter_context(company.as_site("QB"))
        company.site("QA")
        company.exchange("QA")


def test_a_row_under_the_name_of_another_site_does_not_fit_the_own_partition(company: Any) -> None:
    with company.as_site("QB") as connection, pytest.raises(psycopg.errors.CheckViolation):
        connection.execute(
            "INSERT INTO tagkit.events_qb (site, epoch, sequence, raw, signature) "
            "VALUES ('QA', 'x', 1, 'x', 'x')"
        )


def test_fifty_megabytes_are_no_event(company: Any) -> None:
    huge = "repeat('x', 50000000)"
    with company.as_site("QB") as connection:
        for table, columns, values in (
            ("events_qb", "epoch, sequence, raw, signature", f"'x', 1, {huge}::bytea, 'x'"),
            ("events_qb", "epoch, sequence, raw, signature", f"'x', 1, 'x', {huge}::bytea"),
            ("events_qb", "epoch, sequence, raw, signature", f"{huge}, 1, 'x', 'x'"),
            ("topics_qb", "topic, epoch, sequence", f"{huge}, 'x', 1"),
            ("directory", "topic, site", f"{huge}, 'QB'"),
            ("heads", "site, epoch, station, public_key, sequence, hash",
             f"'QB', 'x', 'x', 'x', 1, {huge}"),
        ):  # fmt: skip
            with pytest.raises(psycopg.errors.CheckViolation):
                connection.execute(f"INSERT INTO tagkit.{table} ({columns}) VALUES ({values})")


def test_an_answer_of_largest_events_is_taken_in_parts(
    company: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Twenty thousand events of a megabyte each must not be held at once."""
    monkeypatch.setattr(asking, "WINDOW_BYTES", 3_000)
    company.site("QA"), company.site("QB")
    battery = company.batteries["QB"][0]
    company.move("QB", battery, "site QA", "elsewhere")
    taken: list[int] = []
    real = pull._take
    monkeypatch.setattr(pull, "_take", lambda *args: (taken.append(len(args[3])), real(*args)))
    for letter in "xy":  # the first time as the history of a new asset, then as what is new
        for number in range(20):
            company.move("QB", battery, f"stand {number}" + letter * 500)
        company.settle("QB", "QA")
        assert company.state("QA", battery) == company.state("QB", battery)
        assert len(taken) > 5 and max(taken) < 10
        taken.clear()
    company.move("QB", battery, "stand 1")
    with company.site("QA").noting() as notes:
        notes.ask_again()
    company.settle("QB", "QA")
    assert sum(taken) == 1, "what is here does not come again"


def stolen(company: Any, statement: str, *values: Any) -> None:
    """Somebody with the site's password, but not with its keys."""
    with company.as_site("QB") as connection:
        connection.execute(statement, values)


INTO = "INSERT INTO tagkit.events_qb (epoch, sequence, raw, signature) VALUES (%s, %s, %s, %s)"


@pytest.mark.parametrize("ahead", [1, 40, 1 << 50])
def test_places_taken_by_somebody_with_the_password_are_noticed_and_gone_round(
    company: Any, ahead: int
) -> None:
    company.site("QA"), company.site("QB")
    battery = company.batteries["QB"][0]
    company.move("QB", battery, "site QA", "elsewhere")
    company.settle("QB", "QA")
    (head,) = [one for one in company.site("QB").heads() if one.site == "QB"]
    stolen(company, INTO, head.epoch, head.sequence + ahead, b"{}", b"x" * 64)
    company.move("QB", battery, "stand 1")
    said = company.exchange("QB", "QB")
    if ahead == 1:
        assert head.epoch in said[0].forked
    company.move("QB", battery, "stand 2")
    company.exchange("QB")
    company.move("QB", battery, "stand 3")
    company.settle("QB", "QA")
    assert company.place("QA", battery) == "stand 3"
    assert company.grave("QB") == []


def test_a_false_end_under_the_own_name_keeps_nothing_back(company: Any) -> None:
    company.site("QA"), company.site("QB")
    battery = company.batteries["QB"][0]
    company.move("QB", battery, "site QA", "elsewhere")
    company.settle("QB", "QA")
    for number, sequence in enumerate((9_000_000, 1)):
        stolen(company, "UPDATE tagkit.heads SET sequence = %s, hash = 'x'", sequence)
        company.move("QB", battery, f"stand {number}")
        (done,) = company.exchange("QB")
        assert done.sent == 1 and done.forked == ()
        company.exchange("QA")
        assert company.place("QA", battery) == f"stand {number}"
