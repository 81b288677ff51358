"""When something happened, as people write it."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

from tagkit.errors import WrongInput
from tagkit.jobs.site import Site

LONG_AGO = timedelta(days=50 * 365)
"""Longer ago than any battery lasts: a year that is mistyped."""
_AHEAD = timedelta(minutes=5)


def moment_of(site: Site, text: str, where: str = "") -> datetime:
    """The moment that ``text`` says.

    A time of day alone is its last occurrence; without an offset it is the site's time. Raises
    WrongInput for what is no time, lies ahead, or longer ago than any battery lasts.
    """
    zone = site.timezone()
    now = site.now().astimezone(zone)
    words = text.strip()
    if match := re.fullmatch(r"(\d{1,2}):(\d{2})", words):
        if int(match[1]) > 23 or int(match[2]) > 59:
            raise WrongInput(f"“{text}” is not a time of day", "Write it like 14:20", where)
        today = now.replace(hour=int(match[1]), minute=int(match[2]), second=0, microsecond=0)
        return today if today <= now else today - timedelta(days=1)
    try:
        given = datetime.fromisoformat(words)
    except ValueError:
        raise WrongInput(
            f"“{text}” is not a time", "Write it like 14:20 or 2031-05-04T14:20", where
        ) from None
    try:
        if given.tzinfo is None:
            given = given.replace(tzinfo=zone) if zone else given.astimezone()
        ahead = given > now + _AHEAD
        if given < now - LONG_AGO:
            raise ValueError
    except (OverflowError, OSError, ValueError):  # the ends of the calendar
        raise WrongInput(f"“{text}” is not a time of ours", "Check the year", where) from None
    if ahead:
        raise WrongInput(f"“{text}” is in the future", "Give the time it happened", where)
    return given
