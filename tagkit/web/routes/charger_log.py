"""A charger's log taken in on a screen: sent, looked at row by row, then recorded.

Nothing is kept between the steps: what was sent goes back with the page, so that the file is
chosen once.
"""

from __future__ import annotations

import base64
import binascii
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response
from starlette.datastructures import UploadFile

from tagkit.errors import TagkitError, WrongInput
from tagkit.jobs.charge_import import LogHead, LogTaken, import_charges, look_at_log
from tagkit.jobs.scratch import scratch_file
from tagkit.jobs.site import Site
from tagkit.site_toml import LOG_COLUMNS, LOG_UNITS
from tagkit.web.access.once import once
from tagkit.web.depends import Technician, TheSite
from tagkit.web.render import page
from tagkit.web.visitor import Visitor

router = APIRouter()

LARGEST = 600_000
"""Bytes of a log, some five thousand charges; more at a time are for the command line."""
NAMES = {
    "battery": "Battery", "charger": "Charger", "started": "Charge began",
    "ended": "Charge ended", "ah": "Ampere-hours", "start_temperature": "Temperature at start",
    "highest_temperature": "Highest temperature", "end_temperature": "Temperature at the end",
    "kind": "Kind of charge",
}  # fmt: skip
OUTCOMES = {
    "logged": ("go", "It is new"), "completed": ("go", "It completes a scan"),
    "here already": ("off", "Here already"), "refused": ("stop", "It is refused"),
}  # fmt: skip
"""Of a row: the role of its mark, and its word."""
_Done = TypeVar("_Done")


@dataclass(frozen=True)
class _Sent:
    """A log as it came, and what was said of it."""

    data: bytes
    name: str
    given: Mapping[str, str]

    @property
    def kept(self) -> str:
        """The log for the page to carry on."""
        return base64.b64encode(self.data).decode()

    def columns(self) -> dict[str, str]:
        return {what: text for what in LOG_COLUMNS if (text := self.given.get(f"column-{what}"))}

    def as_file(self, act: Callable[[Path], _Done]) -> _Done:
        path = scratch_file(".xlsx" if self.name.lower().endswith(".xlsx") else ".csv")
        try:
            path.write_bytes(self.data)
            return act(path)
        finally:
            path.unlink(missing_ok=True)


@router.get("/charger-log", response_class=HTMLResponse)
def ask(request: Request, _person: Technician) -> HTMLResponse:
    """Which file."""
    return _page(request, None)


@router.post("/charger-log")
async def put(request: Request, site: TheSite, person: Technician) -> Response:
    """Look at it; or take it in, once somebody has looked."""
    form = await request.form()
    given = {name: text for name, text in form.items() if isinstance(text, str)}
    sent_file = form.get("log")
    fresh = sent_file if isinstance(sent_file, UploadFile) and sent_file.filename else None
    data = await fresh.read(LARGEST + 1) if fresh else None

    def answer() -> Response:
        try:
            sent = _sent(data, fresh.filename if fresh else None, given)
        except WrongInput as error:
            return _page(request, None, error=error)
        head = None
        try:
            head = sent.as_file(lambda path: look_at_log(site, path))
            if given.get("do") != "take" or fresh:
                return _page(request, sent, head, _taken(site, sent, head, person, dry_run=True))
            return once(
                request,
                lambda: _page(request, None, None, _taken(site, sent, head, person, dry_run=False)),
            )
        except TagkitError as error:
            return _page(request, sent, head, error=error)

    return await run_in_threadpool(answer)


def _sent(data: bytes | None, name: str | None, given: Mapping[str, str]) -> _Sent:
    if data is None:
        try:
            data = base64.b64decode(given.get("kept", ""), validate=True)
        except binascii.Error:
            data = b""
        name = given.get("name", "")
    if not data:
        raise WrongInput("no file was chosen", "Choose a charger's log, CSV or XLSX")
    if len(data) > LARGEST:
        raise WrongInput(
            "the log is too large for this page",
            "Send a part of it, or use “tagkit charge import” at the computer that serves",
        )
    return _Sent(data, name or "log.csv", given)


def _taken(
    site: Site, sent: _Sent, head: LogHead | None, person: Visitor, *, dry_run: bool
) -> LogTaken:
    known = head.known if head else None
    unit = sent.given.get("degrees") or None
    return sent.as_file(
        lambda path: import_charges(
            site, path, {} if known else sent.columns(), known or sent.given.get("as") or None,
            temperature_unit=unit if unit in LOG_UNITS else None,
            by=str(person.person), station=person.station, dry_run=dry_run,
            keep_good=sent.given.get("good") == "yes", called=sent.name,
        )
    )  # fmt: skip


def _page(
    request: Request,
    sent: _Sent | None,
    head: LogHead | None = None,
    taken: LogTaken | None = None,
    error: TagkitError | None = None,
) -> HTMLResponse:
    values = {
        "sent": sent, "head": head, "taken": taken, "error": error, "names": NAMES,
        "units": LOG_UNITS, "outcomes": OUTCOMES, "given": sent.given if sent else {},
        "columns": {**(head.columns if head else {}), **(sent.columns() if sent else {})},
        "missing": error is not None and error.where == "--column",
    }  # fmt: skip
    return page(request, "charger_log.html", values, 422 if error else 200)
