"""What is asked of a plan on its page, read from the address, so that the page, the file made of
it and a bookmark mean the same."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import ClassVar

from tagkit.errors import WrongInput
from tagkit.jobs.figures import area, plain_number, volume
from tagkit.jobs.pool_plan import PoolPlanned, plan_pool
from tagkit.jobs.room_air import RoomAir, plan_ventilation
from tagkit.jobs.site import Site
from tagkit.web.views.pool_charts import shift_hours


@dataclass(frozen=True)
class VentilationAsked:
    """Volume and opening as somebody wrote them; ``units``: what a bare number is in."""

    room: str = ""
    opening: str = ""
    units: str = "metric"

    def plan(self, site: Site) -> RoomAir:
        """The plan; WrongInput says which field can't be read."""
        us = self.units == "us"
        return plan_ventilation(
            site,
            room_m3=volume(self.room, "room", us) if self.room.strip() else None,
            opening_cm2=area(self.opening, "opening", us) if self.opening.strip() else None,
        )


_COUNTS = ("batteries", "chargers")
_MOST = 10_000


@dataclass(frozen=True)
class PoolAsked:
    """The fields of the pool's page. ``shifts`` None: nothing was asked yet.

    ``counts``: other counts than the record's, written as ``batteries:KIND`` or
    ``chargers:KIND`` -> number; empty ones are the record's.
    """

    shifts: str | None
    fields: Mapping[str, str]
    counts: Mapping[str, str]

    DEFAULTS: ClassVar[Mapping[str, str]] = {
        "use": "", "days": "30", "price": "", "service": "99", "change_minutes": "10",
        "change_stations": "1", "efficiency": "80", "least": "",
    }  # fmt: skip

    def plan(self, site: Site) -> PoolPlanned | None:
        """The pool played through; WrongInput says which field can't be read."""
        if self.shifts is None:
            return None
        return plan_pool(
            site,
            shifts=_shifts(self.shifts) if self.shifts.strip() else None,
            use_percent_per_hour=self._number("use", 0.1, 100),
            price_per_kwh=self._number("price", 0, 1_000_000),
            service_percent=self._number("service", 50, 100) or 99.0,
            days=self._whole("days", 2, 366),
            change_minutes=self._number("change_minutes", 1, 240) or 10.0,
            change_stations=self._whole("change_stations", 1, 50),
            efficiency=(self._number("efficiency", 30, 100) or 80.0) / 100,
            seek_least=self.fields["least"] == "yes",
            batteries=self._others("batteries"),
            chargers=self._others("chargers"),
        )

    def _number(self, name: str, low: float, high: float) -> float | None:
        text = self.fields[name].strip()
        return plain_number(text, name, low, high) if text else None

    def _whole(self, name: str, low: int, high: int) -> int:
        value = self._number(name, low, high)
        return _integer(int(self.DEFAULTS[name]) if value is None else value, name)

    def _others(self, of: str) -> dict[str, int]:
        found = {}
        for key, text in self.counts.items():
            what, _, kind = key.partition(":")
            if what == of and text.strip():
                found[kind] = _integer(plain_number(text, kind, 0, _MOST), kind)
        return found


def pool_asked(given: Iterable[tuple[str, str]]) -> PoolAsked:
    """From the address of the page."""
    named = dict(given)
    return PoolAsked(
        named.get("shifts"),
        {name: named.get(name, default) for name, default in PoolAsked.DEFAULTS.items()},
        {key: text for key, text in named.items() if key.partition(":")[0] in _COUNTS
         and ":" in key},
    )  # fmt: skip


def _shifts(text: str) -> tuple[tuple[float, float], ...]:
    try:
        return shift_hours(text)
    except WrongInput as error:
        raise WrongInput(
            f"“{text.strip()}” are no shifts", "Write hours like 6-14,14-22,22-30", "shifts"
        ) from error


def _integer(value: float, where: str) -> int:
    if value != int(value):
        raise WrongInput(f"{value:g} is not a whole number", "Write a whole number", where)
    return int(value)
