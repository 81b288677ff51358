"""Run as a process of its own: a user who may not write to the site's folder looks things up.

    python tests/jobs/looking_only.py FOLDER BATTERY TRUCK BACKUP

Prints as JSON how each command ended, and the pages of the app.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "web")]

from battery_room import run  # noqa: E402
from fastapi.testclient import TestClient  # noqa: E402
from known_browsers import known_browser  # noqa: E402
from tagkit.web.app import create_app  # noqa: E402
from tagkit.web.options import ServeOptions  # noqa: E402


def main(folder: Path, battery: str, truck: str, backup: str) -> None:
    assert not os.access(folder, os.W_OK)
    commands = {
        "where": ("where", battery), "fit": ("fit", battery, truck), "next": ("next", truck),
        "list": ("list",), "history": ("history", battery), "today": ("today",),
        "verify": ("verify",), "backup": ("backup", backup),
        "sealed": ("backup", f"{backup}-sealed", "--password"),
        "hold": ("hold", battery, "--reason", "leaks", "--by", "TS"),
        "swap": ("swap", truck, battery, "--by", "TS"),
        "rebuild": ("record", "rebuild"), "exchange": ("exchange", "--through", "postgresql://h/d"),
        "pin": ("pin", "SW"), "enrol": ("enrol",),
    }  # fmt: skip
    ended = {}
    for name, arguments in commands.items():
        done = run(*arguments, "--site", folder)
        ended[name] = (done.code, done.out, done.err)
    pages = {}
    app = create_app(ServeOptions(folder))
    with TestClient(app, base_url="http://127.0.0.1:8642", follow_redirects=True) as client:
        known_browser(app, client)
        asked = {
            "/shift/open": {"who": "SW"},
            **dict.fromkeys(("/", "/rotation", "/today", "/station", "/health", f"/A/{battery}")),
            f"/reports/battery/{battery}.pdf": None,
            f"/A/{battery}/hold": {"reason": "leaks"},
        }
        for address, form in asked.items():
            answer = client.post(address, data=form) if form else client.get(address)
            pages[address] = (answer.status_code, answer.text[:200_000])
    print(json.dumps({"commands": ended, "pages": pages}))


if __name__ == "__main__":
    main(Path(sys.argv[1]), *sys.argv[2:])
