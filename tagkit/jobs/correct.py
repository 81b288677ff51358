"""Correcting the record: amending a figure with a second person, retiring an asset."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from tagkit.assets.battery import Battery
from tagkit.assets.designation import contradictions, parse_designation
from tagkit.assets.fields import Field, fields_of, plate_from, read_fact
from tagkit.assets.kinds import PLATES
from tagkit.assets.stated import Source
from tagkit.assets.tag import Kind
from tagkit.errors import NeedsAnswer, WrongInput
from tagkit.jobs.answers import check_answer
from tagkit.jobs.assets import asset
from tagkit.jobs.marry import check_jumpered
from tagkit.jobs.people import require_second, require_technician
from tagkit.jobs.reason import checked_reason
from tagkit.jobs.site import Site
from tagkit.record.envelope import Event
from tagkit.record.plate_words import fact_words, label_of
from tagkit.record.state import AssetState
from tagkit.units import Quantity

BIG_CHANGE = 0.25
"""Share of the old figure beyond which a change is asked about: a slip of the keys or of the unit
is more likely than a stamp that was read that wrongly."""
ASKED_ABOUT = {
    Kind.BATTERY: ("weight", "weighed", "capacity"),
    Kind.TRUCK: ("weight_min", "weight_max", "capacity_max"),
    Kind.CHARGER: ("capacity_min", "capacity_max"),
}
"""Figures of which a big change is asked about; the others have no size or are marked in steps."""


def amend(
    site: Site,
    number: str,
    changes: dict[str, str | None],
    reason: str,
    second: str,
    *,
    source: Source | None = None,
    by: str,
    station: str,
    at: datetime | None = None,
    answer: str | None = None,
) -> Event:
    """Replace figures of an asset (field -> text, None makes it unknown).

    A reason and a second authorised person are required. WrongInput names the field; NeedsAnswer
    when the new figures contradict the battery's trade designation, or a weight or a capacity
    changes by more than :data:`BIG_CHANGE`. The event keeps the old figures beside the new ones.
    """
    reason = checked_reason(reason)
    check_answer(answer, "then nothing is amended")
    with site.record.writing(by=by, station=station, at=at) as writing:
        found = asset(writing, number)
        require_technician(site, by)
        code = require_second(site, by, second)
        kind = Kind(found.kind)
        source = source or (Source.STAMPED if kind is Kind.BATTERY else Source.NAMEPLATE)
        stored: dict[str, Any] = {}
        for field, text in changes.items():
            name, spec = field_named(kind, field)
            origin = Source.WEIGHED if name in ("weighed", "scale_error") else source
            stored[name] = None if text is None else read_fact(spec, text, origin).stored()
        if stored.keys() & {"voltage", "cells"}:
            check_jumpered(found)
        if not stored:
            raise WrongInput("nothing is to be changed", "Add --set FIELD=VALUE")
        against = _against_designation(found, stored)
        big = _big_changes(found, stored)
        if big and not against and answer is None:
            raise NeedsAnswer(
                "; ".join(big),
                "Read the stamp or the plate again. If it is right, add --answer as-shown; "
                "nothing was logged",
            )
        if against and answer is None:
            raise NeedsAnswer(
                "; ".join((*big, *against)),
                "Read the stamp again. If it is right, add --answer as-shown, and amend the "
                "designation too; nothing was logged",
            )
        return writing.append(
            "amended",
            [found.tag],
            {
                "changes": stored,
                "before": {name: found.nameplate.get(name) for name in stored},
                "reason": reason,
                "second": code,
            },
        )


def _big_changes(found: AssetState, changes: dict[str, Any]) -> list[str]:
    """The figures that would change by more than :data:`BIG_CHANGE` of what they are now."""
    said = []
    for name in ASKED_ABOUT.get(Kind(found.kind), ()):
        old, new = found.nameplate.get(name), changes.get(name)
        if not old or not new:
            continue
        was, now = (Quantity.from_stored(one).base() for one in (old, new))
        if abs(now - was) > BIG_CHANGE * was:
            percent = f"{100 * abs(now - was) / was:.0f}"
            said.append(
                f"{label_of(found.tag, name)} would change by {percent} %, from "
                f"{fact_words(found.tag, name, old)} to {fact_words(found.tag, name, new)}"
            )
    return said


def _against_designation(found: AssetState, changes: dict[str, Any]) -> list[str]:
    """What the figures would contradict after the change and do not contradict now."""
    if found.kind != Kind.BATTERY.value:
        return []
    now, then = (
        plate_from(Battery, nameplate)
        for nameplate in (found.nameplate, {**found.nameplate, **changes})
    )
    return [text for text in _contradictions(then) if text not in _contradictions(now)]


def _contradictions(battery: Battery) -> list[str]:
    written = battery.designation.value if battery.designation else ""
    return contradictions(parse_designation(written), battery)


def field_named(kind: Kind, written: str) -> tuple[str, Field]:
    """The field that a person means by its name or its label; WrongInput lists them."""
    wanted = written.strip().lower().replace("-", " ").replace("_", " ")
    known = fields_of(PLATES[kind])
    for name, spec in known.items():
        if wanted in (name.replace("_", " "), spec.label.lower()):
            return name, spec
    raise WrongInput(
        f"a {kind.noun} has no field “{written}”",
        f"One of: {', '.join(name.replace('_', '-') for name in known)}",
        "--set",
    )


def retire(
    site: Site,
    number: str,
    reason: str | None,
    receipt: str | None,
    papers: str | None = None,
    *,
    by: str,
    station: str,
    at: datetime | None = None,
) -> Event:
    """The asset leaves the fleet; its number is never used again.

    ``receipt``: the recycler's. ``papers``: of the transport (filled lead-acid batteries go as
    UN 2794). Either may be handed in later, by naming the retired asset again. A technician does
    it, as soon as people are recorded.
    """
    receipt, papers = _paper(receipt, "--receipt"), _paper(papers, "--papers")
    with site.record.writing(by=by, station=station, at=at) as writing:
        found = asset(writing, number)
        if site.record.people():
            require_technician(site, by)
        if found.retired_at:
            new = (receipt and not found.receipt) or (papers and not found.papers)
            if not new:
                raise WrongInput(
                    f"{found.tag} is retired already",
                    "Add --receipt or --papers, if that is still missing",
                    "--papers" if found.receipt else "--receipt",
                )
            reason = reason or "papers handed in"
        reason = checked_reason(reason or "")
        return writing.append(
            "retired", [found.tag], {"reason": reason, "receipt": receipt, "papers": papers}
        )


def _paper(words: str | None, where: str) -> str | None:
    """What a receipt or paper is called, on one line."""
    plain = " ".join((words or "").split())
    if len(plain) > 200:
        raise WrongInput("the name of the paper is too long", "Use 200 characters at most", where)
    return plain or None
