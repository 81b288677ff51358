"""Options that go together, declared once: a command takes them as one value."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from dataclasses import MISSING, fields, is_dataclass
from typing import Any, get_type_hints


def grouped(command: Callable[..., None]) -> Callable[..., None]:
    """The command with each parameter whose type is a dataclass taken apart into options, one for
    each field: that is how Typer sees it. The command itself is given the dataclass."""
    hints = get_type_hints(command, include_extras=True)
    groups: dict[str, Any] = {}
    seen: list[inspect.Parameter] = []
    for parameter in inspect.signature(command).parameters.values():
        hint = hints[parameter.name]
        if is_dataclass(hint):
            groups[parameter.name] = hint
            inside = get_type_hints(hint, include_extras=True)
            seen += [_option(one.name, inside[one.name], one.default) for one in fields(hint)]
        else:
            seen.append(_option(parameter.name, hint, parameter.default))

    @functools.wraps(command)
    def run(**given: Any) -> None:
        for name, group in groups.items():
            given[name] = group(**{one.name: given.pop(one.name) for one in fields(group)})
        command(**given)

    run.__signature__ = inspect.Signature(seen)  # type: ignore[attr-defined]
    run.__annotations__ = {one.name: one.annotation for one in seen}
    return run


def _option(name: str, hint: Any, default: Any) -> inspect.Parameter:
    # A dataclass says otherwise than a signature that there is no default.
    empty = default is inspect.Parameter.empty or default is MISSING
    return inspect.Parameter(
        name,
        inspect.Parameter.KEYWORD_ONLY,
        default=inspect.Parameter.empty if empty else default,
        annotation=hint,
    )
