"""The verdict on two assets: does this battery go into, onto or under that?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tagkit.assets.battery import Battery
from tagkit.assets.charger import Charger
from tagkit.assets.kinds import AnyPlate
from tagkit.assets.lifting import Lifting
from tagkit.assets.tag import Kind, Tag
from tagkit.assets.truck import Truck
from tagkit.errors import Exit, WrongInput
from tagkit.jobs.assets import asset, is_married, plate, tag_of
from tagkit.jobs.readiness import both, gear_readiness, readiness_of
from tagkit.jobs.site import Site
from tagkit.record.state import AssetState
from tagkit.rules.balance import explain_balance
from tagkit.rules.fit import check_charger, check_fit, check_lifting
from tagkit.rules.readiness import Purpose, Readiness
from tagkit.rules.verdict import Check, Verdict, verdict_of

HEADLINES = {
    "fit": "FIT",
    "no_fit": "NO FIT",
    "not_confirmed": "NOT CONFIRMED",
}


@dataclass(frozen=True)
class Judgement:
    """Verdict and readiness of a battery with a truck, charger or lifting gear."""

    battery: AssetState
    other: AssetState
    verdict: Verdict
    readiness: Readiness
    balance: str | None = None

    @property
    def go(self) -> bool:
        """Green: fits and ready."""
        return self.verdict.fits and self.readiness.ready

    def exit_code(self) -> Exit:
        """The exit code of the contract."""
        if self.verdict.result == "no_fit":
            return Exit.NO_FIT
        if self.verdict.result == "not_confirmed":
            return Exit.NOT_CONFIRMED
        return Exit.DONE if self.readiness.ready else Exit.NOT_READY

    def headline(self) -> str:
        """The one answer, in words."""
        if self.verdict.fits and not self.readiness.ready:
            return f"FIT, DO NOT USE: {self.readiness.reasons[0].sentence}"
        return HEADLINES[self.verdict.result]

    def to_json(self) -> dict[str, Any]:
        """The contract's object; the other asset stands under its kind."""
        kind = Kind(self.other.kind)
        named = {"truck": None} if kind is not Kind.TRUCK else {}
        key = {Kind.TRUCK: "truck", Kind.CHARGER: "charger", Kind.LIFTING: "lifting_gear"}[kind]
        return {
            "verdict": self.verdict.result,
            "battery": self.battery.tag,
            **named,
            key: self.other.tag,
            "checks": self.verdict.to_json()["checks"],
            "readiness": self.readiness.to_json(),
            "balance": self.balance,
        }


def judge(site: Site, first: str | Tag, second: str | Tag, at: datetime | None = None) -> Judgement:
    """The verdict on two numbers, in either order.

    Raises WrongInput unless one is a battery and the other a truck, charger or lifting gear;
    NotFound when one is not in the record.
    """
    tags = [tag_of(site.record, number) for number in (first, second)]
    kinds = {tag.kind for tag in tags}
    if Kind.BATTERY not in kinds or not kinds & {Kind.TRUCK, Kind.CHARGER, Kind.LIFTING}:
        raise WrongInput(
            f"{tags[0]} is a {tags[0].kind.noun} number and {tags[1]} a {tags[1].kind.noun} number",
            "Give a battery and a truck, a charger or lifting gear",
        )
    if tags[0].kind is not Kind.BATTERY:
        tags.reverse()
    battery, other = (asset(site.record, tag) for tag in tags)
    return judge_states(site, battery, other, at=at)


def judge_states(
    site: Site,
    battery: AssetState,
    other: AssetState,
    temperature: dict[str, Any] | None = None,
    at: datetime | None = None,
    gravity: dict[str, Any] | None = None,
) -> Judgement:
    """The same for states looked up already; ``temperature`` and ``gravity`` are readings taken
    just now."""
    kind = Kind(other.kind)
    plates = plate(battery), plate(other)
    verdict = _verdict(site, battery, other, kind, at, plates)
    if kind is Kind.LIFTING:
        # A battery that must not be used may still have to be moved.
        ready = gear_readiness(other)
    else:
        purpose: Purpose = "use" if kind is Kind.TRUCK else "charge"
        of_battery = readiness_of(site, battery, purpose, temperature, at, gravity)
        ready = both(of_battery, gear_readiness(other))
    balance = None
    if kind is Kind.TRUCK and verdict.result == "no_fit":
        balance = explain_balance(*plates)  # type: ignore[arg-type]
    return Judgement(battery, other, verdict, ready, balance)


def _verdict(
    site: Site,
    battery: AssetState,
    other: AssetState,
    kind: Kind,
    at: datetime | None,
    plates: tuple[AnyPlate, AnyPlate],
) -> Verdict:
    has, takes = plates
    assert isinstance(has, Battery)
    settings = site.settings.fit
    if isinstance(takes, Truck):
        verdict = check_fit(
            has,
            takes,
            settings=settings,
            battery_married=is_married(battery),
            truck_married=is_married(other),
            jumpered=battery.jumpered,
        )
    elif isinstance(takes, Charger):
        verdict = check_charger(
            has, takes, battery_married=is_married(battery), jumpered=battery.jumpered
        )
    else:
        assert isinstance(takes, Lifting), kind
        beam, hoist = _gear(site, other, takes)
        verdict = check_lifting(
            has,
            beam,
            hoist,
            today=(at or site.now()).astimezone(site.timezone()).date(),
            settings=settings,
            battery_married=is_married(battery),
        )
    unreadable = [
        Check(
            "record",
            "not_confirmed",
            "every entry readable",
            f"{', '.join(state.unknown_kinds)} in the record of {state.tag}",
            None,
            "record",
            "entries of a newer version can't be read here: update tagkit",
            "unknown events",
        )
        for state in (battery, other)
        if state.unknown_kinds
    ]
    return verdict_of((*verdict.checks, *unreadable)) if unreadable else verdict


def _gear(site: Site, other: AssetState, gear: Lifting) -> tuple[Lifting | None, Lifting | None]:
    """Beam and hoist that go together, by what the beam is said to hang from."""
    if gear.gear is not None and gear.gear.value == "hoist":
        names = {other.tag, *(fact.value for fact in (gear.maker_serial,) if fact)}
        beams = [plate(state) for state in site.record.states(Kind.LIFTING) if not state.retired_at]
        hung = [
            beam
            for beam in beams
            if isinstance(beam, Lifting) and beam.hung_from and beam.hung_from.value in names
        ]
        return (hung[0] if len(hung) == 1 else None), gear
    if gear.hung_from is None:
        return gear, None
    name = gear.hung_from.value
    for state in site.record.states(Kind.LIFTING):
        candidate = plate(state)
        assert isinstance(candidate, Lifting)
        serial = candidate.maker_serial.value if candidate.maker_serial else None
        if name in (state.tag, serial) and not state.retired_at:
            return gear, candidate
    return gear, None
