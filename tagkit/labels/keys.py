"""Reading the keys of a template, one by one and strictly."""

from __future__ import annotations

import math
from typing import Any

from tagkit.errors import WrongInput

_MISSING: Any = object()


class Keys:
    """One table of a TOML file. ``where`` names it in messages."""

    def __init__(self, table: dict[str, Any], where: str) -> None:
        self._table = table
        self._where = where
        self._known: list[str] = []

    def wrong(self, key: str, problem: str, remedy: str) -> WrongInput:
        """The error for this key."""
        return WrongInput(f"{key}: {problem}", remedy, self._where)

    def done(self) -> None:
        """Refuses keys that nothing asked for."""
        for key in self._table:
            if key not in self._known:
                raise WrongInput(
                    f"“{key}” is not known here",
                    f"Allowed are: {', '.join(self._known)}",
                    self._where,
                )

    def text(self, key: str) -> str:
        """A text that is not empty."""
        value = self._take(key, "a text in quotes")
        if not isinstance(value, str) or not value.strip():
            raise self.wrong(key, "this must be a text", "Write it in quotes")
        return value.strip()

    def number(self, key: str, low: float, high: float, default: float = _MISSING) -> float:
        """A number between two limits."""
        return self._number(key, self._take(key, "a number", default), low, high)

    def whole(self, key: str, low: int, high: int, default: int = _MISSING) -> int:
        """A whole number between two limits."""
        if default is not _MISSING and key not in self._table:
            self._known.append(key)
            return default
        value = self._take(key, "a whole number")
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise self.wrong(
                key, f"“{value}” can't stand here", f"Write a whole number from {low} to {high}"
            )
        return value

    def pair(self, key: str, low: float, high: float,
             default: tuple[float, float] = _MISSING) -> tuple[float, float]:  # fmt: skip
        """Two numbers, like [99.1, 67.7]."""
        first, second = self._numbers(key, 2, low, high, default)
        return first, second

    def four(self, key: str, low: float, high: float) -> tuple[float, float, float, float]:
        """Four numbers, like a box."""
        left, top, width, height = self._numbers(key, 4, low, high, _MISSING)
        return left, top, width, height

    def pairs(self, key: str, low: float, high: float) -> tuple[tuple[float, float], ...]:
        """A list of pairs, like [[2, 2], [60, 2]]."""
        value = self._take(key, "a list of [x, y] in mm")
        if (
            not isinstance(value, list)
            or not value
            or not all(isinstance(item, list) and len(item) == 2 for item in value)
        ):
            raise self.wrong(key, f"“{value}” can't stand here", "Write a list like [[2.0, 2.0]]")
        return tuple(
            (self._number(key, x, low, high), self._number(key, y, low, high)) for x, y in value
        )

    def one_of(self, key: str, allowed: tuple[str, ...], default: str = _MISSING) -> str:
        """One of a few words."""
        value = self._take(key, f"one of: {', '.join(allowed)}", default)
        if value not in allowed:
            raise self.wrong(key, f"“{value}” is not allowed", f"Allowed are: {', '.join(allowed)}")
        return str(value)

    def several(
        self, key: str, allowed: tuple[str, ...], default: tuple[str, ...] = _MISSING
    ) -> tuple[str, ...]:
        """A list of words, each allowed and none twice."""
        if default is not _MISSING and key not in self._table:
            self._known.append(key)
            return default
        value = self._take(key, f"a list of some of: {', '.join(allowed)}")
        if not isinstance(value, list) or not value:
            raise self.wrong(
                key, f"“{value}” can't stand here", f"Write a list of some of: {', '.join(allowed)}"
            )
        for number, item in enumerate(value):
            if item not in allowed:
                raise self.wrong(
                    key, f"“{item}” is not allowed", f"Allowed are: {', '.join(allowed)}"
                )
            if item in value[:number]:
                raise self.wrong(key, f"“{item}” stands there twice", "Write it once")
        return tuple(value)

    def section(self, key: str) -> Keys:
        """A table of its own, like [stock]."""
        value = self._take(key, f"a section [{key}]")
        if not isinstance(value, dict):
            raise self.wrong(key, "this must be a section", f"Write [{key}]")
        return Keys(value, f"{self._where}, [{key}]")

    def sections(self, key: str) -> list[Keys]:
        """Repeated tables, like [[element]]."""
        value = self._take(key, f"at least one [[{key}]]")
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            raise self.wrong(key, "this must be repeated sections", f"Write [[{key}]]")
        return [
            Keys(item, f"{self._where}, {key} {number + 1}") for number, item in enumerate(value)
        ]

    def _take(self, key: str, expected: str, default: Any = _MISSING) -> Any:
        self._known.append(key)
        if key in self._table:
            return self._table[key]
        if default is _MISSING:
            raise WrongInput(f"“{key}” is missing", f"Write {expected}", self._where)
        return default

    def _number(self, key: str, value: Any, low: float, high: float) -> float:
        if (
            isinstance(value, bool)
            or not isinstance(value, int | float)
            or not math.isfinite(value)
            or not low <= value <= high
        ):
            raise self.wrong(
                key, f"“{value}” can't stand here", f"Write a number from {low:g} to {high:g}"
            )
        return float(value)

    def _numbers(self, key: str, count: int, low: float, high: float, default: Any) -> list[float]:
        value = self._take(key, f"{count} numbers in brackets", default)
        if not isinstance(value, list | tuple) or len(value) != count:
            raise self.wrong(
                key, f"“{value}” can't stand here", f"Write {count} numbers in brackets"
            )
        return [self._number(key, item, low, high) for item in value]
