"""What all tests share."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def project() -> Path:
    """The project's top folder."""
    return PROJECT


def pytest_sessionfinish(session: pytest.Session) -> None:
    """In the gate nothing may be skipped: there every optional part is present."""
    if not os.environ.get("TAGKIT_NOTHING_SKIPPED"):
        return
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter and reporter.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
