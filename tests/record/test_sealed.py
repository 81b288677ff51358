"""A backup sealed with a password opens with that password only, and only whole."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest
from tagkit.errors import WrongInput
from tagkit.record import sealed
from tagkit.record.backup import backup, restore
from tagkit.record.verify import verify

WORDS = "seven green forks lift"


@pytest.fixture(autouse=True)
def cheap_guesses(monkeypatch: pytest.MonkeyPatch) -> None:
    """What makes guessing dear makes tests slow."""
    monkeypatch.setattr(sealed, "COST", 1 << 10)


@pytest.mark.parametrize("size", [0, 1, sealed.CHUNK - 1, sealed.CHUNK, 2 * sealed.CHUNK + 5])
def test_what_was_sealed_opens_again(tmp_path: Path, size: int) -> None:
    content = random.Random(size).randbytes(size)
    (tmp_path / "plain").write_bytes(content)
    digest = sealed.seal(tmp_path / "plain", tmp_path / "sealed", WORDS)
    assert sealed.is_sealed(tmp_path / "sealed")
    assert sealed.unseal(tmp_path / "sealed", tmp_path / "again", WORDS) == digest
    assert (tmp_path / "again").read_bytes() == content
    if size > 100:
        assert content[:100] not in (tmp_path / "sealed").read_bytes()


def test_the_same_file_is_never_sealed_to_the_same_bytes(tmp_path: Path) -> None:
    (tmp_path / "plain").write_bytes(bytes(1000))
    for name in ("one", "two"):
        sealed.seal(tmp_path / "plain", tmp_path / name, WORDS)
    one, two = ((tmp_path / name).read_bytes()[-1000:] for name in ("one", "two"))
    assert one != two


def test_a_changed_moved_or_cut_chunk_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sealed, "CHUNK", 64)
    (tmp_path / "plain").write_bytes(random.Random(1).randbytes(64 * 4))
    sealed.seal(tmp_path / "plain", tmp_path / "sealed", WORDS)
    whole = (tmp_path / "sealed").read_bytes()
    begin, step = len(whole) - 4 * 80, 80
    chunks = [whole[begin + n * step : begin + (n + 1) * step] for n in range(4)]
    head = whole[:begin]
    changed = bytearray(whole)
    changed[-90] ^= 1
    for spoilt in (
        bytes(changed),
        head + b"".join([chunks[1], chunks[0], *chunks[2:]]),
        head + b"".join(chunks[:3]),
        head + b"".join([*chunks, chunks[3]]),
        head + b"".join([chunks[0], *chunks[2:]]),
        head,
        whole[:-1],
        whole.replace(b'"p": 1', b'"p": 2'),
        whole.replace(b'"chunk": 64', b'"chunk": 32'),
        whole[:30],
    ):
        (tmp_path / "spoilt").write_bytes(spoilt)
        with pytest.raises(WrongInput):
            sealed.unseal(tmp_path / "spoilt", None, WORDS)
    with pytest.raises(WrongInput, match="password is wrong"):
        sealed.unseal(tmp_path / "sealed", None, WORDS + "!")


def test_a_sealed_backup_is_restored_with_its_password_only(depot: Any, tmp_path: Path) -> None:
    file = tmp_path / "monday.tagkit"
    with pytest.raises(WrongInput, match="too short"):
        backup(depot.record, file, password="short")
    assert list(tmp_path.glob("*.tagkit*")) == []
    backup(depot.record, file, password=WORDS)
    assert b"SQLite format" not in file.read_bytes()
    assert [one.name for one in depot.folder.iterdir() if "part" in one.name] == []
    with pytest.raises(WrongInput, match="sealed"):
        restore(file, tmp_path / "again")
    with pytest.raises(WrongInput, match="password is wrong"):
        restore(file, tmp_path / "again", password="something else entirely")
    assert not (tmp_path / "again" / "record.db").exists()
    with restore(file, tmp_path / "again", password=WORDS) as again:
        assert [s.to_json() for s in again.states()] == [s.to_json() for s in depot.record.states()]
    assert not any(finding.grave for finding in verify(tmp_path / "again"))
