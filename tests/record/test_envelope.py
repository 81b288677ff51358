"""The bytes of an event: they stay readable, and nothing else passes for one."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.record.envelope import (
    MalformedEvent,
    canonical,
    from_bytes,
    hash_of,
    split_id,
    to_bytes,
)
from tagkit.record.folder import understood
from tagkit.record.keys import epoch_of, load_key, new_key, signed_by
from tagkit.record.words import describe

# As the first version wrote it. Records keep such bytes for ever.
FIRST = (
    b'{"after":[],"body":{"answers":[],"battery_in":"B-QM-00002-M","battery_out":null,'
    b'"confirmed_by_hand":[],"discharged_percent":null,"hours":null,"nameplates":null,'
    b'"out_to":null,"release":null,"truck":"T-QM-00001-4","verdict":null},"by":"TS",'
    b'"clock":"019cad352901-0000","envelope":1,"epoch":"mfzwizlt4sq3xkpa",'
    b'"happened_at":"2026-03-02T07:00:00.001+01:00","kind":"changed",'
    b'"previous":"0000000000000000000000000000000000000000000000000000000000000000",'
    b'"recorded_at":"2026-03-02T07:00:00.001+01:00","seen":{"B-QM-00002-M":""},"sequence":7,'
    b'"site":"QM","station":"Bay 1 \xc3\xbc","tags":["T-QM-00001-4","B-QM-00002-M"],"version":1}'
)


def test_bytes_of_the_first_version_are_understood_and_written_alike() -> None:
    event = understood(from_bytes(FIRST))
    assert event.id == "mfzwizlt4sq3xkpa-7"
    assert event.known
    assert to_bytes(event) == FIRST
    assert event.hash == hash_of(FIRST)
    assert describe(event) == (
        "TS put B-QM-00002-M into T-QM-00001-4 at 07:00 on 2026-03-02 (UTC+01:00), station Bay 1 ü"
    )


@pytest.mark.parametrize(
    "change",
    [
        {"sequence": 0},
        {"sequence": True},
        {"sequence": 1 << 60},
        {"version": 0},
        {"clock": "noon"},
        {"happened_at": "2026-03-02T07:00:00"},
        {"happened_at": "yesterday"},
        {"tags": [7]},
        {"tags": ["x" * 81]},
        {"body": []},
        {"seen": {"B": None}},
        {"by": None},
    ],
)
def test_an_event_with_a_wrong_entry_is_none(change: dict[str, object]) -> None:
    with pytest.raises(MalformedEvent):
        from_bytes(canonical(json.loads(FIRST) | change))


@pytest.mark.parametrize("name", sorted(json.loads(FIRST).keys() - {"envelope"}))
def test_an_event_without_one_of_its_entries_is_none(name: str) -> None:
    content = json.loads(FIRST)
    del content[name]
    with pytest.raises(MalformedEvent):
        from_bytes(canonical(content))


@given(
    st.binary() | st.text().map(str.encode) | st.dictionaries(st.text(), st.text()).map(canonical)
)
def test_no_other_bytes_pass_for_an_event(raw: bytes) -> None:
    with pytest.raises(MalformedEvent):
        from_bytes(raw)


@given(st.text())
def test_any_text_is_an_id_or_not(text: str) -> None:
    parts = split_id(text)
    assert parts is None or int(text.rpartition("-")[2]) == parts[1]


def test_an_id_is_epoch_and_sequence() -> None:
    assert split_id("mfzwizlt4sq3xkpa-17") == ("mfzwizlt4sq3xkpa", 17)


def test_a_key_signs_for_its_own_epoch_only(tmp_path: Path) -> None:
    key, other = new_key(tmp_path), new_key(tmp_path)
    assert key.epoch == epoch_of(key.public) != other.epoch
    again = load_key(tmp_path, key.epoch)
    assert again and signed_by(key.public, b"bytes", again.sign(b"bytes"))
    assert not signed_by(key.public, b"bytes", other.sign(b"bytes"))
    assert not signed_by(key.public, b"other", key.sign(b"bytes"))
    assert not signed_by(b"short", b"bytes", key.sign(b"bytes"))
    (tmp_path / f"{key.epoch}.pem").write_bytes((tmp_path / f"{other.epoch}.pem").read_bytes())
    assert load_key(tmp_path, key.epoch) is None
    assert load_key(tmp_path, "none") is None
