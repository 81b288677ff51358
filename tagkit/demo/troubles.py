"""The troubles of Quillmoor's year: what goes wrong, when, and what was written about it.

Moments are shares of the year, so that the story is the same whenever it ends.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from tagkit.assets.stated import Source, Stated
from tagkit.demo.cells import Decay
from tagkit.demo.happenings import Named
from tagkit.demo.pool import Action, Pool, PoolBattery
from tagkit.demo.roster import SHOWCASE, TROUBLES


class Story:
    """Puts the troubles into the pool; ``tags`` by maker's serial or fleet number."""

    def __init__(self, pool: Pool, tags: Mapping[str, str], until: datetime) -> None:
        self._pool, self._tags, self._until = pool, tags, until
        self._year = until - pool.start
        by_tag = {battery.tag: battery for battery in pool.batteries}
        self._batteries = {
            name: by_tag[tag] for name, tag in tags.items() if tag in by_tag
        }  # fmt: skip

    def prepare(self) -> None:
        """Hidden causes, and everything that has its moment."""
        self._hidden_causes()
        at = self._at
        at(0.11, self._stamp_contradicts)
        at(0.18, lambda now: self._hold_for_days(
            "C/4803/21", now, 2, "cable insulation chafed at the gland",
            "cable renewed, tested at 500 V",
        ))  # fmt: skip
        at(0.27, self._wrong_charger)
        at(0.34, lambda now: self._hold_for_days(
            "20R 36102", now, 1, "connector pin burnt", "contacts and housing renewed",
        ))  # fmt: skip
        at(0.41, self._eaten_label)
        at(0.46, self._logged_for_another_truck)
        at(0.52, self._capacity_test)
        at(0.58, self._swap_labels)
        at(0.66, self._spill)
        at(0.73, lambda now: self._hold_for_days(
            "P21-2135", now, 3, "cap missing on cell 7, acid on the lid", "cap renewed, washed",
        ))  # fmt: skip
        at(0.79, self._seen_wrongly)
        self._on_day(self._until - timedelta(days=6), lambda now: self._hold(
            "P20-2114", now, "case cracked at the lower weld, damp below", True, "crack"
        ))  # fmt: skip
        self._on_day(self._until - timedelta(days=4), lambda now: self._hold(
            "23R 36206", now, "connector loose", False, "loose"
        ))  # fmt: skip
        # A week before the end one battery is kept back, so that the demo has it ready.
        self._pool.at(max(self._until - timedelta(days=7), self._pool.start), self._keep_back)

    def _keep_back(self, _: datetime) -> None:
        self._batteries[SHOWCASE.ready].in_reserve = True

    def _at(self, share: float, action: Action) -> None:
        """Has it done about ``share`` of the way through the year."""
        self._on_day(self._pool.start + share * self._year, action)

    def _on_day(self, day: datetime, action: Action) -> None:
        """Has it done in the morning of the last working day up to ``day``."""
        day = day.replace(hour=9, minute=20, second=0, microsecond=0)
        while day.weekday() > 4:
            day -= timedelta(days=1)
        self._pool.at(max(day, self._pool.start + timedelta(hours=9)), action)

    def _hidden_causes(self) -> None:
        dying = self._batteries[TROUBLES.dying_cell]
        begins = self._pool.start + 0.42 * self._year
        dying.cells.decay = Decay(TROUBLES.dying_cell_number, begins)
        thirsty = self._batteries[TROUBLES.boils_dry].cells
        thirsty.overcharge, thirsty.overcharge_a_month = 0.13, 0.036
        one, other = (self._batteries[name].cells for name in TROUBLES.labels_swapped)
        # Two cases that can be told apart by their cells, whatever is stuck on them.
        one.offsets[3], one.offsets[14] = -0.014, 0.009
        other.offsets[8], other.offsets[0] = -0.015, -0.008
        other.full, other.overcharge = other.full - 0.006, other.overcharge * 1.5

    def _when_free(self, name: str, now: datetime, action: Action) -> None:
        """Does ``action`` as soon as the battery stands charged outside a truck."""
        battery = self._batteries[name]
        if battery.doing == "charged" and not battery.held:
            action(now)
        else:
            self._pool.at(now + timedelta(hours=1), lambda at: self._when_free(name, at, action))

    # Holds

    def _hold(
        self, name: str, now: datetime, reason: str, safety: bool, key: str,
        then: Action | None = None,
    ) -> None:  # fmt: skip
        def hold(at: datetime) -> None:
            battery, pool = self._batteries[name], self._pool
            battery.held = True
            by = pool.supervisor(at) if safety else self._finder(at)
            pool.say(at, by, "held", (battery.tag,),
                     {"asset": battery.tag, "reason": reason, "safety": safety}, key)  # fmt: skip
            if then is not None:
                then(at)

        self._when_free(name, now, hold)

    def _hold_for_days(self, name: str, now: datetime, days: int, reason: str, remedy: str) -> None:
        """Held, mended some mornings later, inspected, released."""
        key = f"hold {name}"

        def release(at: datetime) -> None:
            battery, pool = self._batteries[name], self._pool
            battery.held = False
            pool.say(at, "EH", "repaired", (battery.tag,), {"what": remedy})
            pool.say(at + timedelta(minutes=6), "PV", "inspected", (battery.tag,),
                     {"what": reason, "findings": [], "passed": True})  # fmt: skip
            pool.say(at + timedelta(minutes=8), pool.supervisor(at), "released", (battery.tag,),
                     {"asset": battery.tag, "hold": Named(key), "reason": remedy})  # fmt: skip

        def mend(at: datetime) -> None:
            morning = (at + timedelta(days=days)).replace(hour=10, minute=35)
            self._pool.at(morning, release)

        self._hold(name, now, reason, False, key, mend)

    def _finder(self, now: datetime) -> str:
        """Who finds a fault: the technician by day, an attendant at other times."""
        return "PV" if 7 <= now.hour < 17 else self._pool.attendant(now)

    # What the record shows

    def _stamp_contradicts(self, now: datetime) -> None:
        """Under the grime the case says 15 plates of 125 Ah, which is not 700 Ah."""
        name, pool = TROUBLES.stamp_contradicts, self._pool
        battery = self._batteries[name]
        pool.say(now, "EH", "inspected", (battery.tag,), {
            "what": "case washed, stamps read again",
            "findings": ["end wall is stamped 18-125-15 (875 Ah), the plate beside it says 700 Ah"],
            "passed": False,
        })  # fmt: skip
        changes = {"designation": Stated("18-125-15", Source.STAMPED).stored()}
        pool.say(now + timedelta(minutes=20), "SW", "amended", (battery.tag,), {
            "changes": changes,
            "reason": "stamp on the end wall; contradicts 700 Ah, capacity test to decide",
            "second": "DC",
        })  # fmt: skip

    def _wrong_charger(self, now: datetime) -> None:
        odd, beside = self._tags["charger out of place"], self._tags["charger beside it"]
        heavy = self._batteries[TROUBLES.heavy_twin].tag
        self._pool.say(now, "DC", "incident", (heavy, odd, beside), {
            "sort": "near miss",
            "what": "36 V battery set down at the 24 V charger between the 36 V ones; "
                    "the connector did not match, nothing was plugged in",
            "hurt": False,
        })  # fmt: skip

    def _eaten_label(self, now: datetime) -> None:
        battery = self._batteries[TROUBLES.label_eaten]
        self._pool.say(now, "EH", "inspected", (battery.tag,), {
            "what": "case, cable, connector, caps, label",
            "findings": ["label on the left side eaten by acid, symbol half bleached"],
            "passed": True,
        })  # fmt: skip

    def _spill(self, now: datetime) -> None:
        battery = self._batteries[TROUBLES.boils_dry]
        self._pool.say(now, "SW", "incident", (battery.tag,), {
            "sort": "spill",
            "what": "overfilled before charging, about 2 l of acid on the floor, neutralised",
            "hurt": False,
        })  # fmt: skip

    def _capacity_test(self, now: datetime) -> None:
        oldest = self._batteries[TROUBLES.heavy_twin]
        if self._busy(oldest):
            self._pool.at(now + timedelta(hours=1), self._capacity_test)
            return
        self._pool.say(now, "PV", "capacity_tested", (oldest.tag,), {
            "rate_hours": 6, "current": {"value": "167", "unit": "A"}, "minutes": 311,
            "cut_off": {"value": "30.6", "unit": "V"},
            "temperature": {"value": "27", "unit": "°C"},
            "percent_of_rated": 87,
        })  # fmt: skip

    def _swap_labels(self, now: datetime) -> None:
        """Wash day: both labels came off and went back on, each on the other's case."""
        one, other = (self._batteries[name] for name in TROUBLES.labels_swapped)
        if any(self._busy(battery) for battery in (one, other)):
            self._pool.at(now + timedelta(hours=1), self._swap_labels)
            return
        for place, battery in enumerate((one, other)):
            self._pool.say(now + timedelta(minutes=30 * place), "TO", "cleaned", (battery.tag,), {
                "with": "hot water, label came off, stuck on again", "case_to_post_ohm": 3150,
            })  # fmt: skip
        one.cells, other.cells = other.cells, one.cells

    @staticmethod
    def _busy(battery: PoolBattery) -> bool:
        return battery.doing != "charged"

    # Slips of the hand, put right

    def _logged_for_another_truck(self, now: datetime) -> None:
        """A change logged for the truck next to it, voided five minutes later."""
        pool = self._pool
        truck = next(truck for truck in pool.trucks if truck.tag == self._tags["R02"])
        battery = next((b for b in truck.fits if pool.ready(b, now)), None)
        if battery is None:
            pool.at(now + timedelta(hours=1), self._logged_for_another_truck)
            return
        by, place = pool.attendant(now), pool.place_of(battery)
        pool.say(now, by, "changed", (truck.tag, battery.tag), {
            "truck": truck.tag, "battery_in": battery.tag,
            "verdict": truck.verdicts.get(battery.tag),
        }, "wrong truck", 5)  # fmt: skip
        pool.say(now + timedelta(minutes=1), by, "voided", (truck.tag, battery.tag), {
            "event": Named("wrong truck"), "reason": f"scanned the wrong truck, still on the "
            f"{place['kind']}",
        }, entered_after=5)  # fmt: skip

    def _seen_wrongly(self, now: datetime) -> None:
        pool = self._pool
        battery = next(b for b in pool.batteries if b.doing == "charged")
        pool.say(now, "SW", "seen_at", (battery.tag,), {
            "battery": battery.tag, "place": {"kind": "elsewhere", "name": "wash bay"},
        }, "wash bay", 5)  # fmt: skip
        pool.say(now + timedelta(minutes=1), "SW", "voided", (battery.tag,), {
            "event": Named("wash bay"), "reason": "read the wrong label",
        }, entered_after=5)  # fmt: skip
