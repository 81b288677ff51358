"""The second person of a correction, who checked it: named by a code, proved by a PIN."""

from __future__ import annotations

from fastapi import Request

from tagkit.jobs.site import Site
from tagkit.web.access.devices import address_of, is_own_computer
from tagkit.web.access.pins import check_pin, has_pin
from tagkit.web.access.refused import NotAllowed
from tagkit.web.visitor import Visitor


def second_person(request: Request, site: Site, visitor: Visitor, code: str, pin: str) -> str:
    """The code of the second person, who is there in person.

    Whoever has a PIN proves it; without one, the code counts only on the computer that serves,
    as on its command line. NotAllowed otherwise. That it is another, authorised person, the job
    sees to.
    """
    named = code.strip().upper()
    store, options = request.app.state.access, request.app.state.options
    own = is_own_computer(request, options)
    if has_pin(store, named):
        device = visitor.station if visitor.at_station else address_of(request)
        now = site.now().timestamp()
        check_pin(store, named, pin, device, now, trusted=visitor.at_station or own)
    elif not own:
        raise NotAllowed(
            f"{named or 'the second person'} has chosen no PIN",
            "Choose one on the page of shifts, at the computer that serves",
        )
    return named
