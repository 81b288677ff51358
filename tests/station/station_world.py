"""A small battery room for the tests of the station: who fits and who is ready is known by name."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from tagkit.assets.battery import Battery
from tagkit.assets.charger import Charger
from tagkit.assets.stated import Source, Stated
from tagkit.assets.tag import Kind, Tag, serials_after, tag_for
from tagkit.assets.truck import Truck
from tagkit.rules.readiness import HoldFact, ReadinessFacts
from tagkit.settings import Settings
from tagkit.station.change import Change, advance, begin
from tagkit.station.facts import AssetFacts, LoggedChange, Placement
from tagkit.station.inputs import Confirm, Input, Release, Seen, Shown
from tagkit.station.screen import Screen, look
from tagkit.units import quantity

NOW = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
SUPERVISOR = "S1"


def _tags(kind: Kind, count: int) -> list[Tag]:
    serials = serials_after(kind, "QM", 400)
    return [tag_for(kind, "QM", next(serials)) for _ in range(count)]


TRUCK, OTHER_TRUCK, EMPTY_TRUCK, HELD_TRUCK, CROWDED_TRUCK, GONE_TRUCK, NEW_TRUCK = _tags(
    Kind.TRUCK, 7
)
(GOOD, SECOND, OLD, ELSEWHERE, LIGHT, UNMARRIED, UNSTATED, RESTING, LEAKING, ON_CHARGE,
 LITHIUM_ON_CHARGE, GONE, CROWD_1, CROWD_2) = _tags(Kind.BATTERY, 14)  # fmt: skip
CHARGER, WRONG_CHARGER, TAKEN_CHARGER, HELD_CHARGER = _tags(Kind.CHARGER, 4)
HOIST = _tags(Kind.LIFTING, 1)[0]
NOT_OURS = tag_for(Kind.BATTERY, "ZZ", 5)

FITTING = {GOOD, SECOND, OLD, ELSEWHERE, RESTING, LEAKING, ON_CHARGE, LITHIUM_ON_CHARGE,
           CROWD_1, CROWD_2}  # fmt: skip
READY = {GOOD, SECOND, ELSEWHERE, LITHIUM_ON_CHARGE, CROWD_1, CROWD_2}
RELEASABLE = {RESTING, ON_CHARGE, OLD}


def _battery(**facts: Any) -> Battery:
    usual: dict[str, Any] = {
        "maker_serial": "K7 4410",
        "voltage": quantity("48", "V"),
        "weight": quantity("1111", "kg"),
        "chemistry": "vented",
        "capacity": quantity("775", "Ah"),
        "capacity_rate": 5,
    }
    known = {name: value for name, value in {**usual, **facts}.items() if value is not None}
    return Battery(**{name: Stated(value, Source.STAMPED) for name, value in known.items()})


def _truck(**facts: Any) -> Truck:
    usual: dict[str, Any] = {
        "fleet_number": "R4",
        "voltage": quantity("48", "V"),
        "weight_min": quantity("1000", "kg"),
        "weight_max": quantity("1200", "kg"),
        "chemistries": ("vented", "lithium"),
    }
    return Truck(
        **{name: Stated(value, Source.NAMEPLATE) for name, value in {**usual, **facts}.items()}
    )


def _charger(volts: str) -> Charger:
    facts: dict[str, Any] = {
        "voltages": (quantity(volts, "V"),),
        "capacity_min": quantity("400", "Ah"),
        "capacity_max": quantity("900", "Ah"),
        "capacity_rate": 5,
        "chemistries": ("vented", "lithium"),
    }
    return Charger(**{name: Stated(value, Source.NAMEPLATE) for name, value in facts.items()})


RESTED = ReadinessFacts(
    chemistry="vented",
    last_charge_started_at=NOW - timedelta(hours=20),
    last_charged_at=NOW - timedelta(hours=12),
    last_charge_kind="conventional",
    charged_since_use=True,
)
JUST_CHARGED = replace(
    RESTED,
    last_charge_started_at=NOW - timedelta(hours=9),
    last_charged_at=NOW - timedelta(hours=1),
)
USED = replace(RESTED, charged_since_use=False, last_used_at=NOW)
CHARGING = replace(
    RESTED,
    on_charge_since=NOW - timedelta(hours=2),
    on_charger=str(CHARGER),
    charged_since_use=False,
)


@dataclass
class World:
    """The facts a station asks for; tests change ``assets`` and ``last`` as the day goes on."""

    now: datetime = NOW
    settings: Settings = field(default_factory=Settings)
    assets: dict[Tag, AssetFacts] = field(default_factory=dict)
    last: LoggedChange | None = None

    def asset(self, tag: Tag) -> AssetFacts | None:
        return self.assets.get(tag)

    def may_release(self, person: str) -> bool:
        return person == SUPERVISOR

    def last_change(self) -> LoggedChange | None:
        return self.last

    def change(self, tag: Tag, **facts: Any) -> None:
        """The record of ``tag`` changes."""
        self.assets[tag] = replace(self.assets[tag], **facts)


def world() -> World:
    """The battery room at two in the afternoon."""
    leak = (HoldFact("leaks at cell 3", safety=True),)
    in_truck = Placement("truck", str(TRUCK), NOW - timedelta(hours=8))
    in_other = Placement("truck", str(OTHER_TRUCK), NOW - timedelta(hours=8))
    crowded = Placement("truck", str(CROWDED_TRUCK), NOW)
    assets = [
        AssetFacts(TRUCK, _truck(), married=True, batteries=(OLD,), last_event="t1"),
        AssetFacts(OTHER_TRUCK, _truck(), married=True, batteries=(ELSEWHERE,)),
        AssetFacts(EMPTY_TRUCK, _truck(), married=True),
        AssetFacts(HELD_TRUCK, _truck(), married=True, holds=(HoldFact("wrong battery in it"),)),
        AssetFacts(CROWDED_TRUCK, _truck(), married=True, batteries=(CROWD_1, CROWD_2)),
        AssetFacts(GONE_TRUCK, _truck(), married=True, retired=True),
        AssetFacts(NEW_TRUCK, _truck(), married=False),
        AssetFacts(GOOD, _battery(), married=True, readiness=RESTED, last_event="g1"),
        AssetFacts(SECOND, _battery(maker_serial="K7 9"), married=True, readiness=RESTED),
        # Used for a shift; the one elsewhere was charged in its truck.
        AssetFacts(OLD, _battery(), married=True, readiness=USED, place=in_truck),
        AssetFacts(ELSEWHERE, _battery(), married=True, readiness=RESTED, place=in_other),
        AssetFacts(CROWD_1, _battery(), married=True, readiness=RESTED, place=crowded),
        AssetFacts(CROWD_2, _battery(), married=True, readiness=RESTED, place=crowded),
        AssetFacts(LIGHT, _battery(weight=quantity("811", "kg")), married=True, readiness=RESTED),
        AssetFacts(UNMARRIED, _battery(), married=False, readiness=RESTED),
        AssetFacts(UNSTATED, _battery(chemistry=None), married=True, readiness=RESTED),
        AssetFacts(RESTING, _battery(), married=True, readiness=JUST_CHARGED),
        AssetFacts(LEAKING, _battery(), married=True, readiness=RESTED, holds=leak),
        AssetFacts(ON_CHARGE, _battery(), married=True, readiness=CHARGING),
        AssetFacts(
            LITHIUM_ON_CHARGE,
            _battery(chemistry="lithium"),
            married=True,
            readiness=replace(CHARGING, chemistry="lithium"),
        ),
        AssetFacts(GONE, _battery(), married=True, retired=True, readiness=RESTED),
        AssetFacts(CHARGER, _charger("48"), married=True, last_event="c1"),
        AssetFacts(WRONG_CHARGER, _charger("36"), married=True),
        AssetFacts(TAKEN_CHARGER, _charger("48"), married=True, batteries=(SECOND,)),
        AssetFacts(HELD_CHARGER, _charger("48"), married=True, holds=(HoldFact("bare cable"),)),
    ]
    return World(assets={asset.tag: asset for asset in assets})


@dataclass
class Station:
    """A person at a station: puts things in, looks at the screen."""

    facts: World = field(default_factory=world)
    change: Change = field(default_factory=lambda: begin(("brake", "seated"), "stand 1"))

    def give(self, given: Input) -> Screen:
        self.change = advance(self.change, given, self.facts)
        return self.screen

    def show(self, *tags: Tag, recovered: bool = False) -> Screen:
        """Labels held up one after the other."""
        for tag in tags:
            self.give(Shown((Seen(tag, recovered),)))
        return self.screen

    def together(self, *tags: Tag) -> Screen:
        """Labels in view at once."""
        return self.give(Shown(tuple(Seen(tag) for tag in tags)))

    def press(self) -> Screen:
        """The large button, by somebody who looks at the screen."""
        return self.give(Confirm(self.screen.token))

    def release(self, battery: Tag, by: str, reason: str, screen: Screen | None = None) -> Screen:
        """A release by somebody who looks at ``screen``, else at the present one."""
        screen = screen or self.screen
        return self.give(Release(battery, by, reason, screen.token, screen.reasons))

    @property
    def screen(self) -> Screen:
        return look(self.change, self.facts)

    @property
    def order(self) -> Any:
        return self.change.order

    @property
    def notice(self) -> str:
        return self.change.notice.key.removeprefix("notice.") if self.change.notice else ""

    @property
    def said(self) -> str:
        """Every line on the screen."""
        screen = self.screen
        todo = [screen.todo] if screen.todo else []
        return "\n".join(line.text for line in (screen.headline, *screen.lines, *todo))
