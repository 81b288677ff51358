"""Holding an asset out of use, and releasing it."""

from __future__ import annotations

from datetime import datetime

from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.people import require_supervisor
from tagkit.jobs.readiness import readiness_of
from tagkit.jobs.reason import checked_reason
from tagkit.jobs.site import Site
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState


def hold(
    site: Site,
    number: str,
    reason: str,
    *,
    safety: bool,
    by: str,
    station: str,
    at: datetime | None = None,
) -> Event:
    """Hold an asset; a safety hold (leak, cracked case, bare cable …) ends only by inspection."""
    reason = checked_reason(reason)
    with site.record.writing(by=by, station=station, at=at) as writing:
        found = asset(writing, number)
        return writing.append(
            "held", [found.tag], {"asset": found.tag, "reason": reason, "safety": safety}
        )


def release(
    site: Site,
    number: str,
    reason: str,
    *,
    inspected: bool,
    by: str,
    station: str,
    at: datetime | None = None,
) -> list[Event]:
    """Release an asset: its holds, or a battery that is not ready for its next use.

    A supervisor does it. Safety holds are lifted only with ``inspected``: the supervisor says
    that an inspection found the cause mended. Raises WrongInput when nothing is to be released.
    """
    reason = checked_reason(reason)
    with site.record.writing(by=by, station=station, at=at) as writing:
        require_supervisor(site, by)
        found = asset(writing, number)
        safety = [held for held in found.holds if held["kind"] == "safety"]
        if safety and not inspected:
            raise WrongInput(
                f"{found.tag} has a safety hold ({safety[0]['reason']}), which only an inspection "
                "can lift",
                "Have it inspected and mended by a qualified person, then add --inspected",
            )
        if found.holds:
            return [
                writing.append(
                    "released",
                    [found.tag],
                    {
                        "asset": found.tag,
                        "hold": held["id"],
                        "reason": reason,
                        "inspected": inspected,
                    },
                )
                for held in found.holds
            ]
        if found.kind != Kind.BATTERY.value:
            raise WrongInput(f"{found.tag} is not held", "There is nothing to release")
        _check_releasable(site, found, at)
        return [
            writing.append(
                "released", [found.tag], {"asset": found.tag, "hold": None, "reason": reason}
            )
        ]


def _check_releasable(site: Site, found: AssetState, at: datetime | None) -> None:
    """A release is given for something: it is no pass for what may come up later."""
    ready = readiness_of(site, found, "use", at=at)
    if ready.ready:
        raise WrongInput(f"{found.tag} is ready or released already", "There is nothing to release")
    stays = [reason for reason in ready.reasons if not reason.lifted_by_release]
    if stays:
        raise WrongInput(
            f"a release can't lift this of {found.tag}: {stays[0].sentence}",
            "Take another battery",
        )
