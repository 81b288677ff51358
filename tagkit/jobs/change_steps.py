"""The steps of the change shown at the station beside its finishing steps."""

from __future__ import annotations

from tagkit.jobs.site import Site
from tagkit.jobs.steps import StepList, step_list
from tagkit.station.screen import Screen

_BY_HOW_IT_LEAVES = {"lift": "change by lifting", "roll": "change by rollers"}


def change_steps(site: Site, screen: Screen, language: str | None = None) -> StepList | None:
    """The list for the truck on a screen that finishes a change, by how its battery leaves it.

    Shown where the site has a list of its own, or asks for it ([station] procedure_steps). None
    when there is nothing to show, or the truck's plate does not say how the battery leaves.
    """
    truck = next(
        (line.values.get("number") for line in screen.lines if line.key == "line.truck"), None
    )
    if screen.stage != "finish" or truck is None:
        return None
    state = site.record.state(str(truck))
    stated = state.nameplate.get("leaves_by") if state else None
    procedure = _BY_HOW_IT_LEAVES.get(str(stated["value"])) if stated else None
    if procedure is None:
        return None
    found = step_list(site, procedure, language)
    return found if found.own or site.settings.station.procedure_steps else None
