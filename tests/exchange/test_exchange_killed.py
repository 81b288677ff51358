"""The process that exchanges is killed at random moments: nothing is lost, nothing doubled."""

from __future__ import annotations

import os
import random
from pathlib import Path
from typing import Any

import pytest
from companies import Company
from exchange_kills import kill_exchanges
from tagkit.record.clock import system_clock

ROUNDS = 24


@pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are killed otherwise there")
def test_killed_in_the_middle_of_anything_it_goes_on(postgres: Any, tmp_path: Path) -> None:
    company = Company(postgres, tmp_path, system_clock, ("QA", "QB"), fresh=True)
    try:
        killed = kill_exchanges(company, ROUNDS, random.Random(5), restart_every=9)
        assert killed.faults == []
        assert killed.kills > ROUNDS // 3 and killed.restarts == 2
        assert killed.confirmed > 100
        assert (killed.missing, killed.twice, killed.different, killed.grave) == ([], 0, [], [])
    finally:
        company.close()
