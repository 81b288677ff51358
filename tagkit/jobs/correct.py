"""Correcting the record: amending a figure with a second person, retiring an asset."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from tagkit.assets.fields import Field, fields_of, read_fact
from tagkit.assets.kinds import PLATES
from tagkit.assets.stated import Source
from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.people import require_second, require_technician
from tagkit.jobs.reason import checked_reason
from tagkit.jobs.site import Site
from tagkit.record.envelope import Event


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
) -> Event:
    """Replace figures of an asset (field -> text, None makes it unknown).

    A reason and a second authorised person are required. WrongInput names the field.
    """
    reason = checked_reason(reason)
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
        if not stored:
            raise WrongInput("nothing is to be changed", "Add --set FIELD=VALUE")
        return writing.append(
            "amended", [found.tag], {"changes": stored, "reason": reason, "second": code}
        )


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
    reason: str,
    receipt: str | None,
    *,
    by: str,
    station: str,
    at: datetime | None = None,
) -> Event:
    """The asset leaves the fleet; its number is never used again."""
    reason = checked_reason(reason)
    with site.record.writing(by=by, station=station, at=at) as writing:
        found = asset(writing, number)
        if found.retired_at:
            raise WrongInput(f"{found.tag} is retired already", "Nothing is left to do")
        return writing.append("retired", [found.tag], {"reason": reason, "receipt": receipt})
