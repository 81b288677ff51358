"""Which batteries of the fleet count for which trucks when the pool is played through.

A battery counts for a truck only where the rules say that it fits: by everything that both plates
tell, chemistry and connector among it. What is not known is no fit, as at the station. Trucks that
the same batteries fit share them, and a battery that fits several kinds of trucks is counted where
batteries are scarcest.
"""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from tagkit.assets.chemistry import CHEMISTRIES
from tagkit.assets.tag import Kind
from tagkit.jobs.assets import is_married
from tagkit.jobs.care_facts import plain
from tagkit.jobs.fit import Beside
from tagkit.jobs.plates import PlateGroup, plate_groups
from tagkit.jobs.rotation import same_voltage
from tagkit.jobs.site import Site
from tagkit.record.state import AssetState
from tagkit.rules.verdict import Verdict

TRUCK, CHARGER = Kind.TRUCK.value, Kind.CHARGER.value
_Key = tuple[str, float, str, tuple[str, ...]]
"""Of trucks alike: what people call them, volts, weight window, the batteries that fit them."""


@dataclass(frozen=True)
class Counted:
    """Trucks alike, and the batteries that count for them.

    ``kind`` names these batteries: groups that the same batteries fit share a kind.
    """

    name: str
    kind: str
    volts: float
    trucks: tuple[str, ...]
    fitting: tuple[str, ...]
    """All batteries that fit them; each counts for one kind only."""


@dataclass(frozen=True)
class LeftOut:
    """Assets that the plan does without, and why; ``kind`` is their kind letter."""

    kind: str
    tags: tuple[str, ...]
    reason: str


@dataclass(frozen=True)
class PoolFleet:
    """The trucks by group, the batteries by kind, the chargers by plate, and what is left out."""

    groups: tuple[Counted, ...]
    batteries: Mapping[str, tuple[AssetState, ...]]
    chargers: tuple[tuple[PlateGroup, frozenset[str]], ...]
    """Chargers of one plate, and the kinds of batteries that they charge."""
    left_out: tuple[LeftOut, ...]
    notes: tuple[str, ...]

    def to_json(self) -> list[dict[str, Any]]:
        """Which batteries count for which trucks."""
        return [
            {
                "group": one.name,
                "trucks": list(one.trucks),
                "batteries_of": one.kind,
                "fitting": list(one.fitting),
                "counted": [state.tag for state in self.batteries[one.kind]],
            }
            for one in self.groups
        ]


def pool_fleet(site: Site) -> PoolFleet:
    """The fleet as it stands, held and retired assets left out."""
    left: list[LeftOut] = []
    trucks = _in_use(plate_groups(site, Kind.TRUCK, "group"), TRUCK, left)
    chargers = _in_use(plate_groups(site, Kind.CHARGER), CHARGER, left)
    batteries = _batteries(site, left)
    verdicts = _Verdicts(site)
    batteries = _chargeable(batteries, chargers, verdicts, left)
    groups = _groups(trucks, batteries, verdicts, left)
    counted = _members(groups, batteries)
    in_some = {tag for one in groups for tag in one.fitting}
    lonely = [state for state in batteries if state.tag not in in_some]
    left += _by_reason(lonely, trucks, verdicts, "truck")
    notes: list[str] = []
    rows = tuple(
        (group, serves)
        for group in chargers
        if (serves := _serves(group, counted, verdicts, notes))
    )
    return PoolFleet(tuple(groups), counted, rows, tuple(left), tuple(dict.fromkeys(notes)))


def _in_use(groups: Iterable[PlateGroup], kind: str, left: list[LeftOut]) -> list[PlateGroup]:
    """The groups without what is held."""
    found = []
    held: list[str] = []
    for group in groups:
        held += sorted(group.held)
        names = [
            (tag, name)
            for tag, name in zip(group.tags, group.names, strict=True)
            if tag not in group.held
        ]
        if names:
            tags, called = zip(*names, strict=True)
            found.append(replace(group, tags=tags, names=called, held=frozenset()))
    if held:
        left.append(LeftOut(kind, tuple(held), "held"))
    return found


def _batteries(site: Site, left: list[LeftOut]) -> list[AssetState]:
    fleet = [
        state
        for state in site.record.states(Kind.BATTERY)
        if state.registered_at and not state.retired_at
    ]
    held = tuple(state.tag for state in fleet if state.holds)
    if held:
        left.append(LeftOut("B", held, "held"))
    return [state for state in fleet if not state.holds]


class _Verdicts:
    """Verdicts on fit, each pair of plates judged once; ``None``: their voltages differ, which no
    rule needs to be asked about."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._beside: dict[str, Beside] = {}
        self._known: dict[tuple[str, str], Verdict] = {}
        self._plates: dict[str, str] = {}

    def of(self, battery: AssetState, other: AssetState) -> Verdict:
        """The verdict on a battery and a truck or charger."""
        key = self._plate(battery), other.tag
        if key not in self._known:
            if other.tag not in self._beside:
                self._beside[other.tag] = Beside(self._site, other)
            self._known[key] = self._beside[other.tag].verdict(battery)
        return self._known[key]

    def fits(self, battery: AssetState, other: AssetState) -> bool:
        """The same, without judging what differs in voltage."""
        volts = plain(battery.nameplate.get("voltage"))
        takes = _volts(other)
        if volts is not None and takes and not any(same_voltage(volts, one) for one in takes):
            return False
        return self.of(battery, other).fits

    def _plate(self, battery: AssetState) -> str:
        if battery.tag not in self._plates:
            facts = {
                name: fact
                for name, fact in battery.nameplate.items()
                if name not in ("maker_serial", "made_on", "in_service_on", "warranty_until")
            }
            self._plates[battery.tag] = json.dumps(
                [facts, is_married(battery), battery.unknown_kinds, list(battery.jumpered)],
                sort_keys=True,
            )
        return self._plates[battery.tag]


def _volts(other: AssetState) -> list[float]:
    """The voltages that a truck or charger is for, as far as they are known."""
    if other.kind == TRUCK:
        one = plain(other.nameplate.get("voltage"))
        return [] if one is None else [one]
    stated = other.nameplate.get("voltages")
    return [one for fact in (stated["value"] if stated else ()) if (one := plain(fact)) is not None]


def _chargeable(
    batteries: Sequence[AssetState],
    chargers: Sequence[PlateGroup],
    verdicts: _Verdicts,
    left: list[LeftOut],
) -> list[AssetState]:
    """Those that some charger fits; without any charger in the fleet, all of them."""
    if not chargers:
        return list(batteries)
    found: list[AssetState] = []
    without: list[AssetState] = []
    for state in batteries:
        fits = any(verdicts.fits(state, group.example) for group in chargers)
        (found if fits else without).append(state)
    left += _by_reason(without, chargers, verdicts, "charger")
    return found


def _groups(
    trucks: Sequence[PlateGroup],
    batteries: Sequence[AssetState],
    verdicts: _Verdicts,
    left: list[LeftOut],
) -> list[Counted]:
    """Trucks of one group, voltage and weight window that the same batteries fit."""
    found: dict[_Key, list[str]] = defaultdict(list)
    plates: dict[_Key, AssetState] = {}
    lows: dict[_Key, float] = {}
    incomplete: list[str] = []
    for group in trucks:
        plate = group.example.nameplate
        volts, low, high = (
            plain(plate.get(name)) for name in ("voltage", "weight_min", "weight_max")
        )
        if volts is None or low is None or high is None:
            incomplete += group.tags
            continue
        stated = plate.get("group")
        name = str(stated["value"]) if stated else f"{volts:g} V trucks"
        fitting = tuple(one.tag for one in batteries if verdicts.fits(one, group.example))
        key = name, volts, f"{low:.0f} to {high:.0f} kg", fitting
        found[key] += group.tags
        plates.setdefault(key, group.example)
        lows.setdefault(key, low)
    if incomplete:
        left.append(LeftOut(TRUCK, tuple(incomplete), "voltage or battery weight not known"))
    names = _told_apart(plates)
    kinds: dict[tuple[str, ...], str] = {}
    counted = []
    for key, tags in sorted(
        found.items(), key=lambda one: (one[0][0], lows[one[0]], names[one[0]])
    ):
        _, volts, _, fitting = key
        kind = kinds.setdefault(fitting, names[key]) if fitting else names[key]
        counted.append(Counted(names[key], kind, volts, tuple(sorted(tags)), fitting))
    return counted


def _told_apart(plates: Mapping[_Key, AssetState]) -> dict[_Key, str]:
    """A name for each, as short as tells them apart: group, window, chemistry, connector."""

    def window(name: str, key: _Key) -> str:
        return f"{name}, {key[2]}"

    def chemistry(name: str, key: _Key) -> str:
        kinds = (plates[key].nameplate.get("chemistries") or {}).get("value")
        if not isinstance(kinds, list):
            return name
        return f"{name}, for {', '.join(CHEMISTRIES.get(one, str(one)) for one in kinds)}"

    def connector(name: str, key: _Key) -> str:
        stated = (plates[key].nameplate.get("connector") or {}).get("value")
        return f"{name}, connector {stated}" if stated else name

    names = {key: key[0] for key in plates}
    for longer in (window, chemistry, connector):
        often = Counter(names.values())
        names = {key: longer(name, key) if often[name] > 1 else name for key, name in names.items()}
    seen: Counter[str] = Counter()
    for key, name in names.items():
        seen[name] += 1
        if seen[name] > 1:
            names[key] = f"{name} ({seen[name]})"
    return names


def _members(
    groups: Sequence[Counted], batteries: Sequence[AssetState]
) -> dict[str, tuple[AssetState, ...]]:
    """The batteries of each kind, each counted once."""
    trucks: Counter[str] = Counter()
    takers: dict[str, set[str]] = {state.tag: set() for state in batteries}
    for group in groups:
        trucks[group.kind] += len(group.trucks)
        for tag in group.fitting:
            takers[tag].add(group.kind)
    members: dict[str, list[AssetState]] = {kind: [] for kind in trucks}
    for state in sorted(batteries, key=lambda one: (len(takers[one.tag]), one.tag)):
        if kinds := takers[state.tag]:
            scarcest = min(kinds, key=lambda kind: (len(members[kind]) / trucks[kind], kind))
            members[scarcest].append(state)
    return {kind: tuple(found) for kind, found in members.items()}


def _by_reason(
    batteries: Sequence[AssetState],
    others: Sequence[PlateGroup],
    verdicts: _Verdicts,
    what: str,
) -> list[LeftOut]:
    """The batteries by the first line that stops them beside the truck or charger they come
    nearest to: one that is only not confirmed before one that is no fit."""
    reasons: dict[str, list[str]] = defaultdict(list)
    for state in batteries:
        volts = plain(state.nameplate.get("voltage"))
        alike = [
            one.example
            for one in others
            if volts is None or any(same_voltage(volts, its) for its in _volts(one.example))
        ]
        judged = [verdicts.of(state, other) for other in alike]
        nearest = min(
            judged,
            key=lambda one: (one.result == "no_fit", len(one.deciding)),
            default=None,
        )
        reasons[_reason(nearest, what)].append(state.tag)
    return [LeftOut("B", tuple(tags), reason) for reason, tags in sorted(reasons.items())]


def _reason(nearest: Verdict | None, what: str) -> str:
    """Why a battery counts for no ``what``, by the verdict that comes nearest to a fit."""
    charger = what == "charger"
    if nearest is None:
        return "no charger of their voltage" if charger else "no truck of their voltage"
    if nearest.fits:  # a truck whose plate lacks a figure that the plan needs
        return "the only truck that they fit is left out"
    line = nearest.deciding[0]
    if line.name == "married":
        return "nobody has compared their figures with them"
    if line.result == "no_fit":
        return (
            f"no charger fits: not by {line.name}"
            if charger
            else f"no truck fits: not by {line.name}"
        )
    if charger:
        return f"no charger fits: {line.name} not confirmed"
    return f"no truck fits: {line.name} not confirmed"


def _serves(
    charger: PlateGroup,
    counted: Mapping[str, Sequence[AssetState]],
    verdicts: _Verdicts,
    notes: list[str],
) -> frozenset[str]:
    """The kinds of which these chargers fit more than half; a kind of which they fit some is said."""
    found = set()
    for kind, batteries in counted.items():
        fits = sum(verdicts.fits(one, charger.example) for one in batteries)
        if 2 * fits > len(batteries):
            found.add(kind)
        if 0 < fits < len(batteries):
            notes.append(
                f"{kind}: charger {charger.names[0]} fits {fits} of {len(batteries)} batteries"
            )
    return frozenset(found)
