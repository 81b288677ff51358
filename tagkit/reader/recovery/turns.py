"""Long work in small steps: a generator that stops after each few milliseconds and returns what
it was asked for at its end. Whoever runs it decides how much of a frame's time it gets."""

from __future__ import annotations

from collections.abc import Generator
from typing import TypeVar

Result = TypeVar("Result")
Steps = Generator[None, None, Result]


def ended(steps: Steps[Result]) -> Result:
    """The result, all steps taken at once."""
    while True:
        try:
            next(steps)
        except StopIteration as end:
            result: Result = end.value
            return result
