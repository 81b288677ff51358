"""What the server says while it runs: plain lines for people, JSON lines for collectors.

No line holds a PIN, a code that opens something, a cookie, or what was typed into a form.
"""

from __future__ import annotations

import json
import logging
import sys
from datetime import UTC, datetime

_OWN = frozenset(vars(logging.makeLogRecord({}))) | {"message", "asctime", "taskName"}


def set_up(form: str) -> None:
    """``form`` is quiet (refusals and faults), text (requests too) or json (all, one a line)."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines() if form == "json" else PlainLines())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.WARNING)
    logging.getLogger("tagkit").setLevel(logging.WARNING if form == "quiet" else logging.INFO)


def _extra(record: logging.LogRecord) -> dict[str, object]:
    return {name: value for name, value in vars(record).items()
            if name not in _OWN and name != "color_message"}  # fmt: skip


class JsonLines(logging.Formatter):
    """One JSON object a line: at, level, source, what, and the figures that go with it."""

    def format(self, record: logging.LogRecord) -> str:
        """The line; whatever stands in it, it stays one line."""
        said = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "source": record.name,
            "what": record.getMessage(),
            **_extra(record),
        }
        if record.exc_info:
            said["fault"] = self.formatException(record.exc_info)
        return json.dumps(said, default=str)


class PlainLines(logging.Formatter):
    """For a terminal."""

    def format(self, record: logging.LogRecord) -> str:
        """Time, what, figures; line breaks of others' making are shown, not made."""
        at = datetime.fromtimestamp(record.created).astimezone().strftime("%H:%M:%S")
        parts = [f"{name}={_one_line(value)}" for name, value in _extra(record).items()
                 if value is not None]  # fmt: skip
        text = " ".join([at, _one_line(record.getMessage()), *parts])
        return f"{text}\n{self.formatException(record.exc_info)}" if record.exc_info else text


def _one_line(value: object) -> str:
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in str(value))
