"""The reason that goes with every correction, hold and release."""

from __future__ import annotations

from tagkit.errors import WrongInput


def checked_reason(reason: str, where: str = "--reason") -> str:
    """The reason on one line; WrongInput when it says nothing or too much."""
    words = " ".join(reason.split())
    if not 3 <= len(words) <= 300:
        raise WrongInput("the reason is empty or too long", "Say why in 3 to 300 characters", where)
    return words
