"""What an endpoint asks for: the site, the visitor, a role, and how to write into the record."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Annotated

from fastapi import Depends, Request

from tagkit.errors import WrongInput
from tagkit.jobs.site import Site
from tagkit.web.access.visitors import visitor_of
from tagkit.web.door import SiteDoor
from tagkit.web.language import LANGUAGES, Words
from tagkit.web.visitor import Role, Visitor


class NotAllowed(WrongInput):
    """This person may not do that."""


def _site(request: Request) -> Iterator[Site]:
    door: SiteDoor = request.app.state.door
    with door.borrow() as site:
        yield site


TheSite = Annotated[Site, Depends(_site)]
"""The site, for this request alone."""


def _visitor(request: Request, site: TheSite) -> Visitor:
    visitor = visitor_of(request, site)
    language = visitor.language if visitor.language in LANGUAGES else "en"
    request.state.visitor = visitor
    request.state.words = Words(language, visitor.units, site.timezone())
    request.state.site_name = site.settings.site.name or site.settings.site.code
    return visitor


TheVisitor = Annotated[Visitor, Depends(_visitor)]
"""Who asks."""

ENTER = Depends(_visitor)
"""Stands before every page: :func:`tagkit.web.render.page` speaks the visitor's language."""


def needs(role: Role) -> Callable[[Visitor], Visitor]:
    """A dependency that lets pass only people with at least ``role``; roles are enforced here."""

    def check(visitor: TheVisitor) -> Visitor:
        if visitor.person is None:
            raise NotAllowed("nobody has begun a shift here", "Show your badge, or sign in")
        if not visitor.may(role):
            raise NotAllowed(
                f"this needs a {role}, and {visitor.person} is recorded as {visitor.role}",
                f"Have a {role} do it",
            )
        return visitor

    return check


Attendant = Annotated[Visitor, Depends(needs("attendant"))]
Technician = Annotated[Visitor, Depends(needs("technician"))]
Supervisor = Annotated[Visitor, Depends(needs("supervisor"))]
