"""The power goes at every step of writing what was fetched: it is resumed, nothing lost or twice."""

from __future__ import annotations

import random
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from tagkit.exchange.round import exchange, nothing_new
from tagkit.record.record import Record
from tagkit.record.verify import verify


@pytest.fixture(scope="module")
def forgetful_vfs() -> ModuleType:
    path = Path(__file__).resolve().parent.parent / "record" / "forgetful_vfs.py"
    spec = spec_from_file_location("forgetful_vfs", path)
    assert spec and spec.loader
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_fetching_cut_at_any_step_is_resumed(company: Any, forgetful_vfs: ModuleType) -> None:
    company.site("QA"), company.site("QB")
    battery = company.batteries["QA"]
    company.move("QA", battery[0], "site QB", "elsewhere")
    company.settle("QA", "QB")
    for number in range(2):
        company.change("QA", company.trucks["QA"][number % 2], battery[0])
    company.move("QA", battery[1], "site QB", "elsewhere")
    company.exchange("QA")
    line, before = company.lines["QB"], company.site("QB")
    here, path = sum(state.events for state in before.states()), before.path
    before.close()
    start, chance = path.read_bytes(), random.Random(1)
    sizes: set[int] = set()
    cut_at, came = 0, True
    while came:
        cut_at += 1
        left = chance.choice(["nothing", "some"])
        with forgetful_vfs.power_cut(cut_at, left, chance) as disk:
            record = Record.open(company.folder / "QB", clock=company.clock, connect=disk.connect)
            exchange(record, line)
            record.close()
        came = cut_at <= disk.steps
        assert [one for one in verify(company.folder / "QB") if one.grave] == []
        with Record.open(company.folder / "QB", clock=company.clock) as record:
            sizes.add(sum(state.events for state in record.states()) - here)
            done = exchange(record, line)
            assert done.refused == done.forked == ()
            assert nothing_new(record, line)
            for tag in battery[:2]:
                there, known = company.site("QA").state(tag), record.state(tag)
                assert known and there and known.to_json() == there.to_json()
                assert [event.id for event in record.timeline(tag)] == [
                    event.id for event in company.site("QA").timeline(tag)
                ]
        _put_back(path, start)
    assert cut_at > 20
    assert len(sizes) > 1, "every cut left the same behind"
    company.records.pop("QB")


def _put_back(path: Path, content: bytes) -> None:
    """The same file with its former content, so that it does not count as a copy."""
    for beside in (Path(f"{path}-wal"), Path(f"{path}-shm")):
        beside.unlink(missing_ok=True)
    with path.open("r+b") as file:
        file.truncate(0)
        file.write(content)
