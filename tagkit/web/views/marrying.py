"""Marrying, step by step: which labels still wait, and what is to be keyed in for one."""

from __future__ import annotations

from dataclasses import dataclass

from tagkit.assets.fields import Field, fields_of
from tagkit.assets.kinds import PLATES
from tagkit.assets.tag import Kind
from tagkit.jobs.assets import is_married
from tagkit.jobs.marry import REQUIRED
from tagkit.jobs.site import Site
from tagkit.record.search import Wanted
from tagkit.record.state import AssetState
from tagkit.web.views.plates import in_one_line

_ALL = 1 << 53


@dataclass(frozen=True)
class Waiting:
    """A label that is not married yet."""

    tag: str
    noun: str
    what: tuple[str, ...]
    delivery: str | None
    unloading: int | None
    label_printed: bool


def waiting(site: Site, units: str) -> list[Waiting]:
    """In the order of unloading, delivery after delivery."""
    # The record finds those few of a large fleet, the rule decides about them.
    unmarried = Wanted(lacking=("as_stamped", "married_at", "retired_at"))
    found = [state for state in site.record.search(unmarried, 0, _ALL).states if _waits(state)]
    found.sort(key=lambda state: (state.registered_at or "", state.unloading or 0, state.tag))
    return [
        Waiting(
            state.tag,
            Kind(state.kind).noun,
            tuple(in_one_line(Kind(state.kind), state.nameplate, units)),
            state.delivery,
            state.unloading,
            bool(state.label_revision),
        )
        for state in found
    ]


def asked(kind: Kind) -> list[tuple[str, Field]]:
    """What must be read off this kind, with its fields."""
    fields = fields_of(PLATES[kind])
    return [(name, fields[name]) for name in REQUIRED[kind]]


def _waits(state: AssetState) -> bool:
    return bool(state.registered_at) and not state.retired_at and not is_married(state)
