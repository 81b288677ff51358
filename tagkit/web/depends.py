"""What an endpoint asks for: the site, the visitor, a role, and how to write into the record."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Annotated

from fastapi import Depends, Request

from tagkit.jobs.site import Site
from tagkit.language.catalogue import LANGUAGES
from tagkit.language.words import Words
from tagkit.web.access.crossing import check_form
from tagkit.web.access.refused import NobodyHere, NotAllowed
from tagkit.web.access.visitors import visitor_of
from tagkit.web.door import SiteDoor
from tagkit.web.visitor import Role, Visitor

__all__ = [
    "ENTER", "Attendant", "NotAllowed", "Supervisor", "Technician", "TheSite", "TheVisitor", "meet",
    "needs",
]  # fmt: skip

OPEN_TO_ALL = ("/shift", "/stations/enrol", "/health", "/guide")
BEHIND_A_LABEL = "/a/"


def _site(request: Request) -> Iterator[Site]:
    door: SiteDoor = request.app.state.door
    with door.borrow() as site:
        yield site


TheSite = Annotated[Site, Depends(_site)]
"""The site, for this request alone."""


def meet(request: Request, site: Site) -> Visitor:
    """Who asks; from now on pages speak to them."""
    visitor = visitor_of(request, site)
    language = visitor.language if visitor.language in LANGUAGES else "en"
    request.state.visitor = visitor
    request.state.words = Words(language, visitor.units, site.timezone())
    request.state.clock_behind = site.behind()
    request.state.bar = site.record.bar
    request.state.site_name = site.settings.site.called
    return visitor


def _visitor(request: Request, site: TheSite) -> Visitor:
    visitor = meet(request, site)
    _check_may_look(request.url.path, visitor, site)
    return visitor


def _check_may_look(path: str, visitor: Visitor, site: Site) -> None:
    """A device that nobody knows, without a person, sees the page behind a label and no more."""
    if visitor.at_station or visitor.person is not None:
        return
    if path == "/" or any(path == one or path.startswith(f"{one}/") for one in OPEN_TO_ALL):
        return
    if path.lower().startswith(BEHIND_A_LABEL) and site.settings.access.lookup_by_phone:
        return
    raise NobodyHere(
        "this device is not a station of the site, and nobody has begun a shift here",
        "Begin a shift with your code and PIN, or have the device enrolled",
    )


TheVisitor = Annotated[Visitor, Depends(_visitor)]
"""Who asks."""


def _entered(_visitor: TheVisitor, _checked: Annotated[None, Depends(check_form)]) -> None:
    """The visitor is known before a form is refused, so that the refusal is a page."""


ENTER = Depends(_entered)
"""Stands before every page: :func:`tagkit.web.render.page` speaks the visitor's language, and
forms that are not ours are refused."""


def needs(role: Role) -> Callable[[Visitor], Visitor]:
    """A dependency that lets pass only people with at least ``role``."""

    def check(visitor: TheVisitor) -> Visitor:
        return require_role(visitor, role)

    return check


def require_role(visitor: Visitor, role: Role) -> Visitor:
    """The visitor, who has at least ``role``; NotAllowed says what is wanting. Roles are
    enforced here and nowhere else."""
    if visitor.person is None:
        raise NobodyHere("nobody has begun a shift here", "Show your badge, or sign in")
    if visitor.may(role):
        return visitor
    if visitor.pin_wanted:
        raise NotAllowed(
            f"this needs a {role}, and {visitor.person} has not given the PIN here",
            "Give it on the page of your shift",
        )
    if visitor.ran_out is not None:
        raise NotAllowed(
            f"this needs a {role}, and the authorisation of {visitor.person} ran out on "
            f"{visitor.ran_out}",
            "Have a supervisor renew it",
        )
    raise NotAllowed(
        f"this needs a {role}, and {visitor.person} is recorded as {visitor.role}",
        f"Have a {role} do it",
    )


Attendant = Annotated[Visitor, Depends(needs("attendant"))]
Technician = Annotated[Visitor, Depends(needs("technician"))]
Supervisor = Annotated[Visitor, Depends(needs("supervisor"))]
