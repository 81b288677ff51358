"""Starts ``tagkit exchange`` again and again for tests that kill it, without a start's imports.

A line of stdin names a file for what it says, the size of its batches and its arguments; it is
answered by the number of the process, which runs the command as the command line does.
"""

from __future__ import annotations

import gc
import json
import os
import signal
import sys
from pathlib import Path

import psycopg  # noqa: F401 - so that it is there already
from tagkit.cli.main import app_with, main
from tagkit.exchange import asking, push, round  # noqa: F401
from tagkit.jobs import exchange  # noqa: F401


def start(said: str, batch: int, arguments: list[str]) -> int:
    """A process that runs the command."""
    if pid := os.fork():
        return pid
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    file = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    for number in (1, 2):
        os.dup2(file, number)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    push.BATCH, asking.WINDOW = batch, batch
    sys.argv = ["tagkit", *arguments]
    code = 70
    try:
        main()
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 0
    finally:
        with Path(said).open("a", encoding="utf-8") as told:
            told.write(f"ended {code}\n")
        os._exit(code)


if __name__ == "__main__":
    app_with("exchange")
    gc.freeze()
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # whoever ends is gone at once
    for asked in sys.stdin:
        print(start(*json.loads(asked)), flush=True)
