"""A company's exchange in a real PostgreSQL, and sites that use it."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))

from companies import Company
from postgres import NoPostgres, Postgres


@pytest.fixture(scope="session")
def postgres() -> Iterator[Postgres]:
    """A PostgreSQL server; the tests that need it skip where there is none."""
    try:
        server = Postgres()
        server.start()
    except NoPostgres as reason:
        pytest.skip(str(reason))
    yield server
    server.remove()


class Now:
    """A clock in the test's hand: each look moves it by a millisecond."""

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.now += timedelta(milliseconds=1)
        return self.now

    def move(self, **amount: float) -> None:
        self.now += timedelta(**amount)


@pytest.fixture
def clock() -> Now:
    return Now()


@pytest.fixture
def company(postgres: Postgres, tmp_path: Path, clock: Now) -> Iterator[Any]:
    """An exchange with the sites QA, QB and QC."""
    company = Company(postgres, tmp_path, clock)
    yield company
    company.close()
