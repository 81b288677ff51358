"""A log as a browser sends it. Nothing is kept between looking and taking in: what was sent goes
back with the page, so that the file is chosen once."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from fastapi import Request
from starlette.datastructures import UploadFile

from tagkit.errors import WrongInput
from tagkit.jobs.scratch import scratch_file

LARGEST = 600_000
"""Bytes of a log, some five thousand charges; more at a time are for the command line."""
_Done = TypeVar("_Done")


@dataclass(frozen=True)
class SentLog:
    """A log as it came, and what was said of it. ``fresh``: the file itself came with it."""

    data: bytes
    name: str
    given: Mapping[str, str]
    fresh: bool

    @property
    def kept(self) -> str:
        """The log for the page to carry on."""
        return base64.b64encode(self.data).decode()

    @property
    def to_take(self) -> bool:
        """Whether it was looked at and is to be recorded now."""
        return self.given.get("do") in ("take", "take-good") and not self.fresh

    @property
    def good_alone(self) -> bool:
        """Whether the good rows are to be recorded although others are refused."""
        return self.given.get("do") == "take-good"

    def columns(self, holds: tuple[str, ...]) -> dict[str, str]:
        """Which heading each of these stands under, as far as that was said."""
        return {what: text for what in holds if (text := self.given.get(f"column-{what}"))}

    def chosen(self, name: str, among: tuple[str, ...]) -> str | None:
        """What was chosen in a field, None unless it is one of these."""
        return one if (one := self.given.get(name)) in among else None

    def as_file(self, act: Callable[[Path], _Done]) -> _Done:
        """The answer of ``act``, with the log as a file for as long as it takes."""
        path = scratch_file(".xlsx" if self.name.lower().endswith(".xlsx") else ".csv")
        try:
            path.write_bytes(self.data)
            return act(path)
        finally:
            path.unlink(missing_ok=True)


async def sent_log(request: Request) -> tuple[Mapping[str, str], bytes | None, str]:
    """The texts of the form, and the file that came with it (None: no file) with its name."""
    form = await request.form()
    given = {name: text for name, text in form.items() if isinstance(text, str)}
    file = form.get("log")
    if not isinstance(file, UploadFile) or not file.filename:
        return given, None, ""
    return given, await file.read(LARGEST + 1), file.filename


def checked_log(given: Mapping[str, str], data: bytes | None, name: str) -> SentLog:
    """The log that came now, else the one that the page carried on; WrongInput without one."""
    fresh = data is not None
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
    return SentLog(data, name or "log.csv", given, fresh)
