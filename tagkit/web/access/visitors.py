"""From a request to the person behind it."""

from __future__ import annotations

import secrets

from fastapi import Request

from tagkit.jobs.site import Site
from tagkit.web.visitor import Role, Visitor

LANGUAGE, UNITS, PERSON = "language", "units", "person"


def visitor_of(request: Request, site: Site) -> Visitor:
    """Who asks, by the cookies of this browser and the people in the record."""
    code = request.cookies.get(PERSON) or site.settings.station.by or None
    known = site.record.person(code) if code else None
    role: Role = known.role if known is not None else "guest"  # type: ignore[assignment]
    return Visitor(
        person=code if known is not None else None,
        initials=known.initials if known is not None else "",
        role=role,
        station=site.settings.station.name,
        language=request.cookies.get(LANGUAGE) or site.settings.site.language,
        units=request.cookies.get(UNITS) or site.settings.site.units,
        csrf=secrets.token_urlsafe(16),
    )
