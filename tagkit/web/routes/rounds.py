"""Rounds: keyed in cell by cell, judged while they are, and shown as the cells lie."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, TypedDict

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import FileResponse, HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.background import BackgroundTask
from starlette.datastructures import UploadFile

from tagkit.errors import NeedsAnswer, TagkitError, WrongInput
from tagkit.jobs.care_facts import BatteryFacts, rounds_of
from tagkit.jobs.cell_chart import cell_chart
from tagkit.jobs.moments import moment_of
from tagkit.jobs.round_sheet import FilledSheet, blank_sheet, filled_in
from tagkit.jobs.rounds import CAUTION, CellWords, last_round, look_at_round, record_round
from tagkit.jobs.scratch import scratch_file
from tagkit.jobs.tables import table_from_bytes
from tagkit.record.care_bodies import EXTENTS, LEVELS, VOLTAGE_TAKEN
from tagkit.record.state import AssetState
from tagkit.web.access.once import once
from tagkit.web.depends import Technician, TheSite, TheVisitor
from tagkit.web.render import page
from tagkit.web.views.rounds import KeyedRound, battery_of, case_of, keyed

router = APIRouter()

LARGEST_SHEET = 2_000_000
FORMS = {
    "pdf": "application/pdf",
    "csv": "text/csv",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


class _Taken(TypedDict):
    """How the round was taken, as the job asks for it."""

    extent: str
    voltage_taken: str
    temperature_unit: str
    after_charge: bool | None
    hours_rested: float | None


@router.get("/rounds/{number}", response_class=HTMLResponse)
def show(
    request: Request, number: str, site: TheSite, _visitor: TheVisitor, done: str = ""
) -> HTMLResponse:
    """What the last round says, and the ones before it."""
    state, facts = battery_of(site, number)
    taken = last_round(site, state.tag)
    before = rounds_of(site.record, state, facts, site.settings)
    values = {
        "it": state,
        "taken": taken,
        "rows": case_of(taken) if taken else [],
        "before": list(reversed(before))[:60],
        "trends": [one for one in taken.trends if one.per_month is not None] if taken else [],
        "done": done in ("yes", "charging"),
        "charging": done == "charging",
    }
    return page(request, "rounds.html", values)


@router.get("/rounds/{number}/new", response_class=HTMLResponse)
def form(request: Request, number: str, site: TheSite, _person: Technician) -> HTMLResponse:
    """The form, cell by cell."""
    state, facts = battery_of(site, number)
    return _form(request, state, facts, KeyedRound(()))


@router.post("/rounds/{number}/look")
async def look(request: Request, number: str, site: TheSite, person: Technician) -> JSONResponse:
    """What has been keyed in so far, judged and not recorded."""
    given = await _given(request)

    def act() -> dict[str, Any]:
        state, facts = battery_of(site, number)
        told = keyed(given, facts.cells or 0)
        words = request.state.words
        says: dict[str, str] = {}
        good = []
        for one in told.cells:
            try:
                look_at_round(site, state.tag, [one], **_taken(told, person.units))
                good.append(one)
            except WrongInput as error:
                says[str(one.cell)] = words.said(error.problem)
        summary = ""
        if good:
            found, critical = look_at_round(site, state.tag, good, **_taken(told, person.units))
            flags = [*critical, *(flag for flag in found.judgement.flags if flag not in critical)]
            for flag in flags:
                if flag.cell is not None and str(flag.cell) not in says:
                    says[str(flag.cell)] = words.said(flag.sentence)
            spread = found.judgement.spread
            if spread is not None:
                summary = words("Spread {spread}", spread=f"{spread:.3f}")
        return {"says": says, "summary": summary, "read": len(told.cells)}

    return JSONResponse(await run_in_threadpool(act))


@router.post("/rounds/{number}")
async def put(request: Request, number: str, site: TheSite, person: Technician) -> Response:
    """Record the round."""
    given = await _given(request)

    def answer() -> Response:
        state, facts = battery_of(site, number)
        told = keyed(given, facts.cells or 0)

        def act() -> Response:
            taken = record_round(
                site, state.tag, told.cells, **_taken(told, person.units),
                hydrometer=told.hydrometer or None, keyed_by=told.keyed_by or None,
                note=told.note or None, confirmed=told.confirmed,
                at=moment_of(site, told.at, "at") if told.at else None,
                by=str(person.person), station=person.station,
            )  # fmt: skip
            done = "charging" if taken.on_charge else "yes"
            return RedirectResponse(f"/rounds/{state.tag}?done={done}", 303)

        try:
            return once(request, act)
        except TagkitError as error:
            return _form(request, state, facts, told, error)

    return await run_in_threadpool(answer)


@router.get("/rounds/{number}/chart.svg")
def chart(
    request: Request, number: str, site: TheSite, _visitor: TheVisitor, narrow: bool = False
) -> Response:
    """Median and lowest cells over the rounds; ``narrow``: for a phone."""
    return Response(
        cell_chart(site, number, request.state.words, narrow),
        media_type="image/svg+xml",
        headers={"content-security-policy": "default-src 'none'; style-src 'unsafe-inline'"},
    )


@router.get("/rounds/{number}/sheet.{ending}")
def sheet(
    request: Request, number: str, ending: str, site: TheSite, _visitor: TheVisitor
) -> Response:
    """A blank sheet to print or to fill in."""
    if ending not in FORMS:
        raise WrongInput(f"there is no sheet as {ending}", "Take PDF, XLSX or CSV")
    state, _ = battery_of(site, number)
    path = scratch_file(f".{ending}")
    try:
        blank_sheet(site, state.tag, path, request.state.words)
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return FileResponse(
        path, media_type=FORMS[ending], filename=f"round-{state.tag}.{ending}",
        background=BackgroundTask(path.unlink, missing_ok=True),
    )  # fmt: skip


@router.post("/rounds/{number}/filled", response_class=HTMLResponse)
async def filled(request: Request, number: str, site: TheSite, person: Technician) -> Response:
    """A filled sheet fills the form; a person looks at it before it is recorded."""
    sent = (await request.form()).get("sheet")
    if not isinstance(sent, UploadFile) or not sent.filename:
        raise WrongInput("no sheet was chosen", "Choose a CSV or XLSX file")
    data, name = await sent.read(LARGEST_SHEET + 1), sent.filename

    def act() -> Response:
        if len(data) > LARGEST_SHEET:
            raise WrongInput("the sheet is too large", "Send the filled round alone")
        state, facts = battery_of(site, number)
        found = filled_in(table_from_bytes(data, name), state.tag, name)
        cells = _in_their_degrees(found, person.units)
        return _form(request, state, facts, KeyedRound(cells))

    return await run_in_threadpool(act)


def _in_their_degrees(sheet: FilledSheet, units: str) -> tuple[CellWords, ...]:
    """The cells of a sheet, whose temperatures say their unit where the form's is another one."""
    unit = sheet.temperature_unit
    if unit in (None, "°F" if units == "us" else "°C"):
        return sheet.cells
    return tuple(
        replace(one, temperature=f"{one.temperature} {unit}")
        if re.fullmatch(r"[-+\d.,]+", one.temperature) else one
        for one in sheet.cells
    )  # fmt: skip


async def _given(request: Request) -> Mapping[str, str]:
    return {name: str(text)[:60] for name, text in (await request.form()).items()}


def _taken(told: KeyedRound, units: str) -> _Taken:
    return _Taken(
        extent=told.extent,
        voltage_taken=told.voltage_taken,
        temperature_unit="°F" if units == "us" else "°C",
        after_charge={"yes": True, "no": False}.get(told.charged),
        hours_rested=_hours(told.rested),
    )


def _hours(text: str) -> float | None:
    if not text:
        return None
    try:
        hours = float(text.replace(",", "."))
    except ValueError:
        hours = -1
    if not 0 <= hours <= 1000:
        raise WrongInput(f"“{text}” is not a number of hours", "Write digits, like 6", "rested")
    return hours


def _form(
    request: Request,
    state: AssetState,
    facts: BatteryFacts,
    told: KeyedRound,
    error: TagkitError | None = None,
) -> HTMLResponse:
    if not facts.cells:
        error = error or WrongInput(
            f"the number of cells of {state.tag} is not known", "Amend its figures first"
        )
    values = {
        "it": state,
        "cells": facts.cells or 0,
        "watered": facts.watered,
        "told": told,
        "by_cell": {one.cell: one for one in told.cells},
        "extents": EXTENTS,
        "taken": VOLTAGE_TAKEN,
        "levels": LEVELS,
        "caution": CAUTION,
        "error": error,
        "asks": isinstance(error, NeedsAnswer),
        "unit": "°F" if request.state.visitor.units == "us" else "°C",
    }
    return page(request, "round_new.html", values, 422 if error else 200)
