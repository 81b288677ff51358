"""What a visitor is told who may not do something."""

from __future__ import annotations

from tagkit.errors import Busy, WrongInput


class NotAllowed(WrongInput):
    """This person may not do that."""


class NobodyHere(NotAllowed):
    """Nobody has begun a shift: whoever does may go on."""


class ForgedForm(NotAllowed):
    """A form that did not come from a page of ours, or from one that is out of date."""


class TooManyTries(NotAllowed):
    """Tried wrongly too often; ``wait`` are the seconds until the next try is listened to."""

    def __init__(self, problem: str, wait: float) -> None:
        self.wait = max(1, round(wait))
        minutes = max(1, round(wait / 60))
        super().__init__(problem, "Wait a minute" if minutes == 1 else f"Wait {minutes} minutes")


class AlreadySent(Busy):
    """The same form is being worked on, or its outcome is not known."""
