"""What all tests share."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import settings

# The same examples at every run, so that a red run means a change; looking for new ones is done
# on purpose: TAGKIT_EXPLORE=1 pytest.
settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.register_profile("explore", deadline=None)
settings.load_profile("explore" if os.environ.get("TAGKIT_EXPLORE") else "repeatable")

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
