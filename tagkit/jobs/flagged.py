"""What is flagged on a battery that somebody is about to use or charge: said beside the verdict.

A flag is a finding of care (a suspect or failing cell, bare plates, labels that were swapped); it
does not change a verdict. Holds, jumpered cells and entries that can't be read do, and are said
by it. Nothing is written here, so that it may be asked anywhere.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from tagkit.assets.tag import Kind
from tagkit.jobs.care_facts import battery_facts, time_text
from tagkit.jobs.care_notices import charge_notices, test_notices
from tagkit.jobs.judging import settings_mark
from tagkit.jobs.judging_cells import cells_judged
from tagkit.jobs.other_cells import OTHER_CELLS
from tagkit.jobs.site import Site
from tagkit.jobs.telling import ACT
from tagkit.record.outlook import Notice
from tagkit.record.state import AssetState

_SAID_OTHERWISE = (
    "held", "held for safety", "not understood", "jumpered", "label", "unsettled",
    "standing discharged", "case leakage",
)  # fmt: skip
"""What verdict and readiness say themselves, and what is about the label alone."""


def flagged(site: Site, state: AssetState, now: datetime) -> tuple[str, ...]:
    """Sentences of its flags of severity act and stop at ``now``, the gravest first; each once.

    As the outlook has them, or, where it has not been judged since it changed, worked out here.
    """
    if state.kind != Kind.BATTERY.value or state.retired_at is not None:
        return ()
    until = time_text(now)
    found = sorted(
        (
            one
            for one in _notices(site, state)
            if one.rank <= ACT and one.at <= until and one.code not in _SAID_OTHERWISE
        ),
        key=lambda one: (one.rank, one.at, one.cell),
    )
    return tuple(dict.fromkeys(one.sentence for one in found))


def _notices(site: Site, state: AssetState) -> Iterator[Notice]:
    outlook = site.record.outlook()
    kept = outlook.notices_of(state.tag)
    under = settings_mark(site.settings)
    if outlook.judged_under() == under and not outlook.waits(state.tag):
        yield from kept
        return
    row = outlook.row(state.tag)
    facts = battery_facts(state, site.settings)
    cells = cells_judged(site, state, facts, row.content if row else {}, under)
    yield from charge_notices(state)
    yield from test_notices(state, site.settings)
    yield from (Notice(state.tag, *one) for one in cells["notices"])
    # Whose the cells are, and thirst, is found beside other batteries: as last judged.
    own = {OTHER_CELLS, "plates bare"}
    yield from (one for one in kept if one.code in own)
