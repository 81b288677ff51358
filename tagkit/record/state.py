"""What is so at present of one asset, folded from its events.

All times are ISO 8601 texts in UTC with milliseconds, so they sort as the times do; read them
with :func:`tagkit.record.clock.read_time`. None means unknown.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field, fields
from typing import Any
from zlib import crc32

FOLD_VERSION = 12
"""Raised whenever folding gives another result; older states are then folded again."""


class MalformedState(ValueError):
    """What is kept as a state is none: the file was changed from outside."""


@dataclass
class AssetState:
    """Present state. Treat it as read-only; nested values are shared."""

    tag: str
    kind: str
    """The kind's letter: B battery, T truck, C charger, L lifting gear, R room equipment."""

    nameplate: dict[str, Any] = field(default_factory=dict)
    """Field -> stored fact, as in assets.fields.stored_plate."""
    registered_at: str | None = None
    """None: events name this asset, but none registers it (or that one was voided)."""
    as_stamped: bool = False
    unloading: int | None = None
    delivery: str | None = None
    married_at: str | None = None
    unsettled: list[Any] = field(default_factory=list)
    """Differences found on marrying that nobody has settled."""
    retired_at: str | None = None

    labels: list[dict[str, Any]] = field(default_factory=list)
    """Printed variants: template, revision, payload, version, level, mask."""
    label_revision: int = 0
    label_behind: dict[str, Any] = field(default_factory=dict)
    """Figures that stand on its label otherwise than they are now: field -> fact as printed
    (None: as unknown). A newer label ends it."""
    label_condition: dict[str, Any] | None = None
    """Of its label when it was last looked at: verdict (good, reprint soon, reprint now),
    unused_error_correction, contrast, frame, reasons, label (the printed form), method, by, at,
    event."""

    place: dict[str, Any] | None = None
    """kind (truck, charger, stand, elsewhere), name (tag or words), since, event, how (changed,
    seen, moved, charging)."""
    place_since: str | None = None
    """Since when the place is as it is, also when it is unknown."""
    charging: dict[str, Any] | None = None
    """charger, kind, started_at, event, temperature, sg."""
    last_charge_started_at: str | None = None
    rest_from: str | None = None
    """Since when it was charged with no use and no rest in between: a charge that is begun again
    makes a hot battery no cooler."""
    rest_kind: str | None = None
    """Of the charges since then the kind that asks for most rest: opportunity only where all are."""
    broken_off_at: str | None = None
    """When it last left its charger without an end of the charge on record: warm as after one."""
    last_charged_at: str | None = None
    """When a charge was last ended."""
    last_charge_kind: str | None = None
    last_changed_at: str | None = None
    """When it was last put in or taken out by a change (trucks: had its battery changed)."""
    last_change: str | None = None
    """Id of that event."""
    last_used_at: str | None = None
    """When it last was in a truck as far as is recorded: put in, seen there, or come out."""
    last_temperature: dict[str, Any] | None = None
    last_sg: dict[str, Any] | None = None
    last_discharge: dict[str, Any] | None = None
    """percent, source, at: of the last use; None when that was not recorded."""
    hours: dict[str, Any] | None = None
    """A truck's hour meter: value, at."""

    holds: list[dict[str, Any]] = field(default_factory=list)
    """id, kind (safety, ordinary), reason, by, at."""
    release: dict[str, Any] | None = None
    """A supervisor's release of an unready battery: reason, by, at, event; since: what was
    measured after it (temperature, leakage), which it was not given for. The next change or
    charge uses it up."""

    done: dict[str, str] = field(default_factory=dict)
    """When things were last done: water, equalize, round, pilot, inspection, cleaning, leakage,
    capacity test, check (of equipment), charge."""
    rounds: list[list[str]] = field(default_factory=list)
    """The last full rounds as [at, event], oldest first; what was read is in the events."""
    waterings: list[dict[str, Any]] = field(default_factory=list)
    """The last ones, oldest first: at, event, litres, before, percent (discharged since the one
    before, None when a use in between is not known)."""
    use: dict[str, Any] = field(default_factory=dict)
    """What it gave: percent (sum of known discharges), uses, unknown (how many are not known);
    since_water, since_equalize (percent), unknown_since_water; began_at (of the last use),
    counted (whether a charge has told what it took)."""
    last_charge: dict[str, Any] | None = None
    """event, started_at, at, kind, ah, counts, flags (as the event froze them)."""
    new_cells: dict[str, str] = field(default_factory=dict)
    """Baselines: cell -> since when its readings are another cell's; "all" after acid work."""
    jumpered: list[int] = field(default_factory=list)
    capacity_test: dict[str, Any] | None = None
    """percent, life_over, at, event."""
    leakage_test: dict[str, Any] | None = None
    """ohm, passes, at, event."""
    inspection: dict[str, Any] | None = None
    """The last one: sort, passed, findings, at, event."""
    todos: list[dict[str, Any]] = field(default_factory=list)
    """id, what, by, at: what inspections and repairs left to be done."""
    receipt: str | None = None
    """Of a retired asset: the recycler's receipt."""
    papers: str | None = None

    last_event: str = ""
    last_event_at: str | None = None
    events: int = 0
    unknown_kinds: list[str] = field(default_factory=list)
    """Kinds this program does not understand; while there is one, nothing is confirmed."""
    fold_version: int = FOLD_VERSION

    @property
    def charged_since_use(self) -> bool | None:
        """Whether a charge was ended after the last use; None when neither is known."""
        if self.last_charged_at is None:
            return None if self.last_used_at is None else False
        return self.last_used_at is None or self.last_charged_at > self.last_used_at

    @property
    def held(self) -> bool:
        """Whether anything holds it."""
        return bool(self.holds)

    @property
    def safety_held(self) -> bool:
        """Whether a safety hold is on it: only an inspection lifts that."""
        return any(hold["kind"] == "safety" for hold in self.holds)

    @property
    def maker_serial(self) -> str | None:
        """The maker's serial, as written."""
        return _words(self.nameplate.get("maker_serial"))

    @property
    def fleet_number(self) -> str | None:
        """A truck's number in the fleet, as written."""
        return _words(self.nameplate.get("fleet_number"))

    @property
    def bay(self) -> str | None:
        """Where a charger stands, as written."""
        return _words(self.nameplate.get("bay"))

    def to_json(self) -> str:
        """The form kept in the record; what stands at its default is left out.

        A checksum ends it: one flipped bit on the disk must not turn 48 V into 40 V unseen.
        """
        content = {name: value for name, value in vars(self).items() if value != _LEFT_OUT[name]}
        return _sealed(_ENCODER.encode(content))

    @classmethod
    def from_json(cls, text: str) -> AssetState:
        """The state that :meth:`to_json` wrote; MalformedState for any other text."""
        try:
            return cls(**unsealed(text))
        except (TypeError, ValueError) as error:
            raise MalformedState(str(error)) from None


_SEAL = len("\n00000000")


def unsealed(text: str) -> dict[str, Any]:
    """The values that a state's text holds; ValueError when the text was changed."""
    if _sealed(content := text[:-_SEAL]) != text:
        raise ValueError("its checksum is not the one of its text")
    return dict(json.loads(content))


def _sealed(content: str) -> str:
    return f"{content}\n{crc32(content.encode('utf-8', 'surrogatepass')):08x}"


_ENCODER = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def _words(fact: Any) -> str | None:
    value = fact.get("value") if isinstance(fact, dict) else None
    return value if isinstance(value, str) and value.strip() else None


_EMPTY: dict[str, Any] = vars(AssetState("", ""))
_LEFT_OUT = _EMPTY | dict.fromkeys(("tag", "kind", "fold_version"), object())
"""What is not kept of each; nothing is the same as an object of its own."""
STATE_FIELDS = tuple(entry.name for entry in fields(AssetState))


@dataclass(frozen=True)
class Person:
    """Someone who may work here; the record knows a code, not a name."""

    code: str
    initials: str
    role: str
    """attendant, technician or supervisor."""
    until: str | None
    """Authorised up to and with this day, YYYY-MM-DD; None: no end was set."""
    reference: str | None
    """Where the employer keeps the training record."""
    event: str
