"""A writer is killed at random moments; what it confirmed is there, and nothing half."""

from __future__ import annotations

import importlib.util
import random
from pathlib import Path
from typing import Any

from tagkit.record.verify import verify

ROUNDS = 40


def test_killing_a_writer_loses_nothing_confirmed(depot: Any, project: Path) -> None:
    path = project / "tests" / "record" / "kill_rounds.py"
    spec = importlib.util.spec_from_file_location("kill_rounds", path)
    assert spec and spec.loader
    kill_rounds = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(kill_rounds)
    depot.record.close()
    confirmed = kill_rounds.kill_writers(depot.folder, ROUNDS, random.Random(7))
    assert len(confirmed) > ROUNDS // 2
    assert [finding for finding in verify(depot.folder) if finding.grave] == []
    assert kill_rounds.missing(depot.folder, confirmed) == []
    assert kill_rounds.half_written(depot.folder) == []
