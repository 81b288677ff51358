"""Logs for those who run a site: one line an entry, as text or as JSON."""

from __future__ import annotations

import json
import logging
import sys
from datetime import UTC, datetime
from typing import Any, TextIO

ROOT = "tagkit"

_OWN = frozenset(vars(logging.makeLogRecord({}))) | {"message", "asctime", "taskName"}


class JsonLines(logging.Formatter):
    """One JSON object a line: time (UTC), level, logger, message, and what was given as extra."""

    def format(self, record: logging.LogRecord) -> str:
        """The line of a record."""
        entry: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        entry |= {name: value for name, value in vars(record).items() if name not in _OWN}
        if record.exc_info:
            entry["error"] = self.formatException(record.exc_info)
        return json.dumps(entry, ensure_ascii=False, default=str)


class Lines(logging.Formatter):
    """Text for people; extras follow as name=value."""

    def format(self, record: logging.LogRecord) -> str:
        """The line of a record."""
        extras = " ".join(
            f"{name}={value}" for name, value in vars(record).items() if name not in _OWN
        )
        when = datetime.fromtimestamp(record.created).astimezone().isoformat(timespec="seconds")
        text = f"{when} {record.levelname.lower()} {record.name}: {record.getMessage()}"
        text = f"{text} {extras}" if extras else text
        return f"{text}\n{self.formatException(record.exc_info)}" if record.exc_info else text


def log_to(stream: TextIO | None = None, *, as_json: bool = False, level: str = "INFO") -> None:
    """Sends tagkit's log to ``stream`` (standard error). Once for a program, at its start."""
    handler = logging.StreamHandler(stream or sys.stderr)
    handler.setFormatter(JsonLines() if as_json else Lines())
    logger = logging.getLogger(ROOT)
    logger.handlers[:] = [handler]
    logger.setLevel(level)
    logger.propagate = False
