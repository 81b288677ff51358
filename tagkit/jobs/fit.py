"""The verdict on two assets: does this battery go into, onto or under that?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from tagkit.assets.battery import Battery
from tagkit.assets.charger import Charger
from tagkit.assets.lifting import Lifting
from tagkit.assets.tag import Kind, Tag
from tagkit.assets.truck import Truck
from tagkit.errors import Exit, WrongInput
from tagkit.jobs.assets import asset, is_married, plate, tag_of
from tagkit.jobs.flagged import flagged
from tagkit.jobs.readiness import both, gear_readiness, readiness_of, set_apart
from tagkit.jobs.site import Site
from tagkit.record.state import AssetState
from tagkit.rules.balance import explain_balance
from tagkit.rules.fit import check_charger, check_fit, check_lifting
from tagkit.rules.readiness import DANGERS, Purpose, Readiness
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
        """The one answer, in words, with the first reason why it is not ready."""
        if self.verdict.fits and not self.readiness.ready:
            return f"{self.answer()}: {self.readiness.reasons[0].sentence}"
        return self.answer()

    def answer(self) -> str:
        """The one answer, in words."""
        if self.verdict.fits and not self.readiness.ready:
            return "FIT, DO NOT USE"
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
    beside = Beside(site, other, at)
    return beside.judge(battery, temperature, gravity, flagged(site, battery, beside.now))


class Beside:
    """A truck, charger or lifting gear, read once, that any number of batteries are judged
    beside, all at one moment: ``at``, else now."""

    def __init__(self, site: Site, other: AssetState, at: datetime | None = None) -> None:
        self.site = site
        self.other = other
        self.now = (at or site.now()).astimezone(site.timezone())
        self._kind = Kind(other.kind)
        self._takes = plate(other)
        self._married = is_married(other)
        self.ready = gear_readiness(other, set_apart(site, other.tag))
        self._with: AssetState | None = None
        if isinstance(self._takes, Lifting):
            self._with = _hangs_with(site, other, self._takes)
        if self._with is not None:
            hangs = gear_readiness(self._with, set_apart(site, self._with.tag))
            self.ready = both(self.ready, hangs)

    def judge(
        self,
        battery: AssetState,
        temperature: dict[str, Any] | None = None,
        gravity: dict[str, Any] | None = None,
        flags: tuple[str, ...] = (),
    ) -> Judgement:
        """The verdict on a battery; ``temperature`` and ``gravity`` are readings taken just now,
        ``flags`` findings of care that are said with it."""
        has = plate(battery)
        assert isinstance(has, Battery)
        verdict = self.verdict(battery)
        if self._kind is Kind.LIFTING:
            # A battery that must not be used may still have to be moved; what may hurt is said.
            found = readiness_of(self.site, battery, "use", None, self.now).reasons
            dangers = tuple(reason for reason in found if reason.code in DANGERS)
            ready = replace(self.ready, cautions=(*self.ready.cautions, *dangers))
        else:
            purpose: Purpose = "use" if self._kind is Kind.TRUCK else "charge"
            of_battery = readiness_of(
                self.site, battery, purpose, temperature, self.now, gravity, flags
            )
            ready = both(of_battery, self.ready)
        balance = None
        if isinstance(self._takes, Truck) and verdict.result == "no_fit":
            balance = explain_balance(has, self._takes)
        return Judgement(battery, self.other, verdict, ready, balance)

    def verdict(self, battery: AssetState) -> Verdict:
        """The verdict alone, by the plates."""
        has = plate(battery)
        assert isinstance(has, Battery)
        verdict = self._of_plates(battery, has)
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
            for state in (battery, self.other)
            if state.unknown_kinds
        ]
        return verdict_of((*verdict.checks, *unreadable)) if unreadable else verdict

    def _of_plates(self, battery: AssetState, has: Battery) -> Verdict:
        settings = self.site.settings.fit
        if isinstance(self._takes, Truck):
            return check_fit(
                has,
                self._takes,
                settings=settings,
                battery_married=is_married(battery),
                truck_married=self._married,
                jumpered=battery.jumpered,
            )
        if isinstance(self._takes, Charger):
            return check_charger(
                has,
                self._takes,
                battery_married=is_married(battery),
                jumpered=battery.jumpered,
            )
        assert isinstance(self._takes, Lifting), self._kind
        partner = plate(self._with) if self._with is not None else None
        assert partner is None or isinstance(partner, Lifting)
        is_hoist = self._takes.gear is not None and self._takes.gear.value == "hoist"
        beam, hoist = (partner, self._takes) if is_hoist else (self._takes, partner)
        return check_lifting(
            has,
            beam,
            hoist,
            today=self.now.date(),
            settings=settings,
            battery_married=is_married(battery),
        )


def _hangs_with(site: Site, other: AssetState, gear: Lifting) -> AssetState | None:
    """The hoist that a beam is said to hang from, or the one beam that hangs from a hoist."""
    lifting = [state for state in site.record.states(Kind.LIFTING) if not state.retired_at]
    if gear.gear is not None and gear.gear.value == "hoist":
        names = {other.tag, *(fact.value for fact in (gear.maker_serial,) if fact)}
        hung = [state for state in lifting if _hung_from(state) in names]
        return hung[0] if len(hung) == 1 else None
    name = _hung_from(other)
    return next((one for one in lifting if name and name in (one.tag, one.maker_serial)), None)


def _hung_from(state: AssetState) -> str | None:
    """What a beam hangs from: a number, or the maker's serial of a hoist."""
    beam = plate(state)
    hung = beam.hung_from if isinstance(beam, Lifting) else None
    return str(hung.value) if hung else None
