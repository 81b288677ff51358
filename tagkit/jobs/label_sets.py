"""Which labels people want to print together, and what was printed for an asset before."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from tagkit.jobs.assets import asset
from tagkit.jobs.label_behind import misleads
from tagkit.jobs.site import Site
from tagkit.record.search import Hits, Wanted
from tagkit.record.state import AssetState

_ALL = 1 << 53


@dataclass(frozen=True)
class Revision:
    """One label that was printed."""

    when: str
    by: str
    revision: int
    template: str
    payload: str
    version: int
    level: str
    mask: int
    voided: bool


def never_printed(site: Site, most: int) -> Hits:
    """The first ``most`` in the order of unloading, delivery after delivery, and how many in all."""
    wanted = Wanted(
        having=("registered_at",), lacking=("label_revision", "retired_at"), unloaded=True
    )
    return site.record.search(wanted, 0, most)


def to_reprint(site: Site, most: int) -> Hits:
    """Those whose label can no longer be read well, or says something else than the record: the
    worst first. Of the latter only the first ``most`` by number, as there may be a fleet of them.
    """
    worn = [
        state
        for state in _in_service(site, Wanted(having=("label_condition",)))
        if _verdict(state) in ("reprint now", "reprint soon")
    ]
    wanted = Wanted(having=("label_behind",), lacking=("retired_at",))
    behind = site.record.search(wanted, 0, most)
    both = {state.tag: state for state in (*worn, *behind.states)}
    found = sorted(both.values(), key=lambda one: (_urgency(one), one.tag))
    return Hits(behind.total + sum(not one.label_behind for one in worn), tuple(found[:most]))


def _urgency(state: AssetState) -> int:
    """A wrong figure comes before a label that is still read, and a remark comes last."""
    if _verdict(state) == "reprint now":
        return 0
    if misleads(state):
        return 1
    return 2 if _verdict(state) == "reprint soon" else 3


def _verdict(state: AssetState) -> str:
    return str((state.label_condition or {}).get("verdict"))


def of_delivery(site: Site, name: str) -> list[AssetState]:
    """The assets of a sheet, in the order of unloading."""
    wanted = Wanted(having=("delivery",))
    return _sorted(state for state in _in_service(site, wanted) if state.delivery == name)


def revisions(site: Site, number: str) -> list[Revision]:
    """Every label printed for this asset, the newest first."""
    found = asset(site.record, number)
    made: list[Revision] = []
    for event in site.record.timeline(found.tag):
        if event.kind != "label_printed":
            continue
        for label in event.body["labels"]:
            if label.get("tag", found.tag) == found.tag:
                made.append(_revision(event.happened_at, event.by, event.voided, label))
    return made


def _revision(when: str, by: str, voided: bool, label: dict[str, Any]) -> Revision:
    return Revision(
        when, by, label["revision"], label["template"], label["payload"], label["version"],
        label["level"], label["mask"], voided,
    )  # fmt: skip


def _in_service(site: Site, wanted: Wanted) -> list[AssetState]:
    found = site.record.search(replace(wanted, lacking=(*wanted.lacking, "retired_at")), 0, _ALL)
    return [one for one in found.states if one.registered_at and not one.retired_at]


def _sorted(states: Any) -> list[AssetState]:
    return sorted(states, key=lambda one: (one.registered_at or "", one.unloading or 0, one.tag))
