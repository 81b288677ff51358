"""What a check says: fit, no fit or not confirmed, with one line for each thing compared."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from tagkit.units import Quantity

Result = Literal["fit", "no_fit", "not_confirmed"]


@dataclass(frozen=True)
class Check:
    """One line of a verdict.

    ``margin`` is how far inside the requirement the figure lies; negative means outside by that
    much, rounded down so that it never looks better than it is. ``source`` says where each
    figure comes from. ``code`` names the kind of ``note`` for translation.
    """

    name: str
    result: Result
    required: str | None
    found: str | None
    margin: str | Quantity | None
    source: str
    note: str = ""
    code: str = ""

    def to_json(self) -> dict[str, Any]:
        """The line as commands print it and the record freezes it."""
        margin = self.margin
        return {
            "name": self.name,
            "result": self.result,
            "required": self.required,
            "found": self.found,
            "margin": margin.to_json() if isinstance(margin, Quantity) else margin,
            "source": self.source,
            "note": self.note,
        }

    @classmethod
    def from_json(cls, frozen: Mapping[str, Any]) -> Check:
        """The line that :meth:`to_json` wrote."""
        margin = frozen["margin"]
        return cls(
            frozen["name"],
            frozen["result"],
            frozen["required"],
            frozen["found"],
            Quantity.from_stored(margin) if isinstance(margin, dict) else margin,
            frozen["source"],
            frozen["note"],
        )


@dataclass(frozen=True)
class Verdict:
    """The answer and the lines it rests on."""

    result: Result
    checks: tuple[Check, ...]

    @property
    def fits(self) -> bool:
        """Whether every line is confirmed to fit."""
        return self.result == "fit"

    @property
    def deciding(self) -> tuple[Check, ...]:
        """The lines that make it what it is: those that stop it, worst first, or none."""
        worst_first = sorted(self.checks, key=lambda check: check.result != "no_fit")
        return tuple(check for check in worst_first if check.result != "fit")

    def to_json(self) -> dict[str, Any]:
        """``{"verdict", "checks"}`` as commands print it."""
        return {"verdict": self.result, "checks": [check.to_json() for check in self.checks]}

    @classmethod
    def from_json(cls, frozen: Mapping[str, Any]) -> Verdict:
        """The verdict that :meth:`to_json` wrote."""
        return cls(frozen["verdict"], tuple(Check.from_json(line) for line in frozen["checks"]))


def verdict_of(checks: Iterable[Check]) -> Verdict:
    """No fit if any line is, else not confirmed if any line is, else fit.

    Without a single line nothing has been shown to fit, so that is not confirmed.
    """
    lines = tuple(checks)
    results = {check.result for check in lines}
    if "no_fit" in results:
        return Verdict("no_fit", lines)
    return Verdict("fit" if results == {"fit"} else "not_confirmed", lines)
