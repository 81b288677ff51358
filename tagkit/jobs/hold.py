"""Holding an asset out of use, and releasing it."""

from __future__ import annotations

from datetime import datetime

from tagkit.assets.tag import Kind
from tagkit.errors import NeedsAnswer, WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.fit import judge_states
from tagkit.jobs.people import require_supervisor
from tagkit.jobs.readiness import readiness_of
from tagkit.jobs.reason import checked_reason
from tagkit.jobs.site import Site
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.rules.readiness import CLOCK_TOLERANCE


class HeldAlready(WrongInput):
    """It is held for that reason: what was asked for stands."""


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
    """Hold an asset; a safety hold (leak, cracked case, bare cable …) ends only by inspection.

    HeldAlready where it is held for the same reason already; a safety hold goes beside an
    ordinary one.
    """
    reason = checked_reason(reason)
    with site.record.writing(by=by, station=station, at=at) as writing:
        found = asset(writing, number)
        for held in found.holds:
            if held["reason"] == reason and (held["kind"] == "safety" or not safety):
                raise HeldAlready(
                    f"{found.tag} is held already for that: {reason}",
                    "The hold stands; nothing was added",
                )
        return writing.append(
            "held", [found.tag], {"asset": found.tag, "reason": reason, "safety": safety}
        )


def release(
    site: Site,
    number: str,
    reason: str,
    *,
    inspected: bool,
    once: bool = False,
    by: str,
    station: str,
    at: datetime | None = None,
) -> list[Event]:
    """Release an asset: lift its holds, or, with ``once``, let a battery that is not ready be used.

    A supervisor does it. Safety holds are lifted only with ``inspected``: the supervisor says
    that an inspection found the cause mended. The pass for one use is asked for by itself, so
    that repeating a release gives none; it is for now, and lifts no hold. Raises WrongInput when
    nothing is to be released.
    """
    reason = checked_reason(reason)
    with site.record.writing(by=by, station=station, at=at) as writing:
        require_supervisor(site, by)
        found = asset(writing, number)
        if once:
            _check_passable(site, found, at)
            body = {"asset": found.tag, "hold": None, "reason": reason}
            return [writing.append("released", [found.tag], body)]
        if not found.holds:
            raise WrongInput(f"{found.tag} is not held", "There is nothing to release")
        _check_liftable(found, inspected, at)
        check_emptied(site, found)
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


def _check_liftable(found: AssetState, inspected: bool, at: datetime | None) -> None:
    """Only an inspection lifts a safety hold, and nothing lifts a hold before it was put on."""
    safety = [held for held in found.holds if held["kind"] == "safety"]
    if safety and not inspected:
        raise WrongInput(
            f"{found.tag} has a safety hold ({safety[0]['reason']}), which only an inspection "
            "can lift",
            "Have it inspected and mended by a qualified person, then add --inspected",
        )
    began = max(datetime.fromisoformat(held["at"]) for held in found.holds)
    if at is not None and at < began - CLOCK_TOLERANCE:
        raise WrongInput(
            f"{found.tag} was not held yet at that time",
            "Give the time at which the hold was lifted, or leave --at out for now",
            "--at",
        )


def check_emptied(site: Site, found: AssetState) -> None:
    """NeedsAnswer where a safety hold would end with a battery that does not fit still inside.

    Whoever took it out says where it is now; the record then has nothing against the release.
    """
    if not found.safety_held or found.kind not in (Kind.TRUCK.value, Kind.CHARGER.value):
        return
    for battery in site.record.held_by(found.tag):
        if judge_states(site, battery, found).verdict.result == "no_fit":
            raise NeedsAnswer(
                f"by the record {battery.tag} is still in {found.tag}, and does not fit",
                "Take it out, enter where it is now with “tagkit seen”, and release again; "
                "nothing was released",
            )


def _check_passable(site: Site, found: AssetState, at: datetime | None) -> None:
    """A pass for one use is a battery's, lifts no hold, and is for now."""
    if found.kind != Kind.BATTERY.value:
        raise WrongInput(
            f"{found.tag} is not a battery", "Only a battery is released for one use", "--once"
        )
    if at is not None and abs(site.now() - at) > CLOCK_TOLERANCE:
        raise WrongInput("a release for one use is for now", "Leave --at out", "--at")
    if found.holds:
        raise WrongInput(
            f"{found.tag} is held, and a release for one use lifts no hold",
            "Lift its hold first, without --once",
            "--once",
        )
    _check_releasable(site, found, at)


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
