"""Errors that a person can mend, and the exit codes they end a command with.

Every error says where it happened, what is wrong and what to do about it. Anything that is not
one of these is a bug of ours and ends with exit code 70.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from enum import IntEnum


class Exit(IntEnum):
    """Exit codes of every tagkit command."""

    DONE = 0
    WRONG_INPUT = 2
    NOT_FOUND = 3
    NO_FIT = 10
    NOT_CONFIRMED = 11
    NOT_READY = 12
    NEEDS_ANSWER = 13
    PART_TAKEN = 14
    VERIFY_FOUND = 20
    OUR_BUG = 70
    BUSY = 75
    INTERRUPTED = 130


class TagkitError(Exception):
    """A mishap with a remedy.

    ``problem`` is a sentence without the final full stop; ``remedy`` is one too, in the
    imperative; ``where`` names the file, row, field or option it is about.
    """

    exit_code: Exit = Exit.WRONG_INPUT

    def __init__(self, problem: str, remedy: str = "", where: str = "") -> None:
        self.problem = problem
        self.remedy = remedy
        self.where = where
        super().__init__(problem, remedy, where)

    def __str__(self) -> str:
        text = f"{self.where}: {self.problem}" if self.where else self.problem
        return f"{text}. {self.remedy}." if self.remedy else f"{text}."


@contextmanager
def mistake_in(where: str) -> Iterator[None]:
    """A mishap in here that says not where it is, is about ``where``."""
    try:
        yield
    except TagkitError as error:
        error.where = error.where or where
        raise


class WrongInput(TagkitError):
    """What was given can't be taken; nothing was changed."""


class NotFound(TagkitError):
    """Nothing there under that name, or nothing could be read."""

    exit_code = Exit.NOT_FOUND


class NeedsAnswer(TagkitError):
    """The record says otherwise, or someone was faster: a person has to say which is right.

    ``answers``: what each answer means here, where that is more than that one of the two is right.
    """

    exit_code = Exit.NEEDS_ANSWER

    def __init__(
        self, problem: str, remedy: str = "", where: str = "",
        answers: Mapping[str, str] | None = None,
    ) -> None:  # fmt: skip
        self.answers = dict(answers or {})
        super().__init__(problem, remedy, where)


class Busy(TagkitError):
    """Something else holds the record; trying again later helps."""

    exit_code = Exit.BUSY
