"""The page on which a log is taken in, whichever form it has: sent, looked at, then recorded."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response

from tagkit.errors import TagkitError, WrongInput
from tagkit.jobs.log_columns import LogForm, LogHead
from tagkit.jobs.log_file import look_at
from tagkit.jobs.site import Site
from tagkit.site_toml import LOG_UNITS
from tagkit.web.access.once import once
from tagkit.web.render import page
from tagkit.web.views.sent_log import SentLog, checked_log, sent_log

_Taken = TypeVar("_Taken")


async def answered(
    request: Request,
    site: Site,
    form: LogForm,
    take: Callable[[SentLog, LogHead | None, bool], _Taken],
    show: Callable[[LogShown[_Taken]], HTMLResponse],
) -> Response:
    """Look at a log; or take it in, once somebody has looked.

    ``take`` gets the log, its head, and whether it is only looked at; ``show`` makes the page.
    """
    came = await sent_log(request)

    def answer() -> Response:
        try:
            sent = checked_log(*came)
        except WrongInput as error:
            return show(LogShown(form, dict(came[0]), error=error))
        head = None
        try:
            head = sent.as_file(lambda path: look_at(site, path, form))
            if not sent.to_take:
                return show(LogShown(form, sent.given, sent, head, take(sent, head, True)))
            return once(request, lambda: show(LogShown(form, taken=take(sent, head, False))))
        except TagkitError as error:
            return show(LogShown(form, sent.given, sent, head, error=error))

    return await run_in_threadpool(answer)


@dataclass(frozen=True)
class LogShown(Generic[_Taken]):
    """What the page of a log shows: what was sent, what it holds, what became of it."""

    form: LogForm
    given: Mapping[str, str] = field(default_factory=dict)
    sent: SentLog | None = None
    head: LogHead | None = None
    taken: _Taken | None = None
    error: TagkitError | None = None

    def page(
        self, request: Request, template: str, names: Mapping[str, str], **more: Any
    ) -> HTMLResponse:
        """The page; ``names``: what its columns can hold, in words."""
        said = self.sent.columns(self.form.columns) if self.sent else {}
        columns = {**(self.head.columns if self.head else {}), **said}
        values = {
            "sent": self.sent, "head": self.head, "taken": self.taken, "error": self.error,
            "given": self.given, "names": names, "needed": self.form.needed, "units": LOG_UNITS,
            "columns": columns, "usual_name": self.form.usual_name, "wrong": self._wrong(columns),
            "missing": self.error is not None and self.error.where == "--column", **more,
        }  # fmt: skip
        return page(request, template, values, 422 if self.error else 200)

    def _wrong(self, columns: Mapping[str, str]) -> str:
        """The field that the error is about; empty where it is about none."""
        if self.error is None or self.sent is None:
            return "log" if self.error else ""
        where = self.error.where
        if where == "--column":
            missing = (one for one in self.form.needed if one not in columns)
            return f"column-{next(missing, self.form.needed[0])}"
        if where in ("time", "current"):
            return f"column-{where}"
        return "log" if where.endswith((".csv", ".xlsx")) else _FIELDS.get(where, "")


_FIELDS = {
    "battery": "battery", "charger": "charger", "began": "began", "--began": "began",
    "--time-unit": "times", "--temperature-unit": "degrees",
}  # fmt: skip
"""By where the jobs say that a mistake is."""
