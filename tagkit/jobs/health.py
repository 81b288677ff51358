"""How the site is doing, for those who run it: asked by a monitor, answered in moments."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from tagkit import __version__
from tagkit.errors import TagkitError
from tagkit.jobs.site import Site
from tagkit.record.room import free_bytes

LEAST_FREE = 500_000_000
"""Bytes left on the disk below which recording is in danger."""

EXCHANGE_LATE_SECONDS = 3600
BACKUP_OLD_SECONDS = 2 * 86_400
CLOCK_BEHIND_SECONDS = 300
REFUSED_TOLD_SECONDS = 86_400
"""An event is refused once and not asked for again: so long it is told."""


@dataclass(frozen=True)
class Health:
    """What a monitor asks for. Ages in seconds; None: never."""

    record_open: bool
    problem: str | None
    read_only: str | None
    """Why nothing can be recorded."""
    disk_free_bytes: int
    record_bytes: int
    backup_age: float | None
    exchange_configured: bool
    exchange_age: float | None
    """Since the last exchange that was done to its end."""
    exchange_failing: float | None
    """Since the first of the tries in the background that failed, without one since that did not."""
    events_behind: int
    """Events recorded here that the exchange does not have; 0 at a site without one."""
    events_refused: int
    """By the last exchange that refused some, within a day."""
    events_apart: int
    """With a wild clock, set apart."""
    stations: int
    clock_behind: float
    """Seconds by which this computer's clock is behind the latest event."""

    @property
    def troubles(self) -> tuple[str, ...]:
        """What somebody must see to; empty when all is well."""
        found = []
        if not self.record_open:
            found.append(f"the record can't be read: {self.problem}")
        if self.read_only:
            found.append(f"the record can only be looked up: {self.read_only}")
        if self.disk_free_bytes < LEAST_FREE:
            found.append(f"only {self.disk_free_bytes // 1_000_000} MB are free on the disk")
        if self.clock_behind > CLOCK_BEHIND_SECONDS:
            found.append(
                f"this computer's clock is behind the record by {self.clock_behind / 3600:.1f} h"
            )
        if self.exchange_late:
            found.append(self._late())
        if self.events_refused:
            found.append(
                f"{self.events_refused} events of other sites were refused; the log says why"
            )
        if self.backup_age is not None and self.backup_age > BACKUP_OLD_SECONDS:
            found.append(f"the last backup was made {self.backup_age / 86_400:.1f} days ago")
        return tuple(found)

    @property
    def notices(self) -> tuple[str, ...]:
        """What should be known, though nothing is wrong yet."""
        return ("no backup was made yet",) if self.record_open and self.backup_age is None else ()

    @property
    def exchange_late(self) -> bool:
        """Whether it should have been done to its end long since."""
        return self.exchange_configured and (
            self.exchange_age is None or self.exchange_age > EXCHANGE_LATE_SECONDS
        )

    def _late(self) -> str:
        last = (
            "nothing was exchanged yet"
            if self.exchange_age is None
            else f"the last exchange was {self.exchange_age / 3600:.1f} h ago"
        )
        why = "" if self.exchange_failing is None else ", it fails and the log says why"
        return f"{last}{why}: {self.events_behind} events wait to be sent"

    def to_json(self) -> dict[str, Any]:
        """As ``/health`` answers."""
        return {
            "ok": not self.troubles,
            "troubles": list(self.troubles),
            "notices": list(self.notices),
            **vars(self),
        }


def health(site: Site) -> Health:
    """How the site is doing now. Reads a few rows only, and raises nothing."""
    from tagkit.jobs.exchange import address_for

    configured = address_for(site) is not None
    facts: dict[str, Any] = {
        "record_open": True,
        "problem": None,
        "read_only": site.record.bar.why if site.record.bar else None,
        "backup_age": None,
        "exchange_age": None,
        "exchange_failing": None,
        "events_behind": 0,
        "events_refused": 0,
        "events_apart": 0,
        "stations": 0,
        "clock_behind": 0.0,
    }
    try:
        notes = site.record.notes()
        facts["backup_age"] = _age(site, notes.fact("backed_up_at"))
        facts["exchange_age"] = _age(site, notes.fact("exchanged_at"))
        facts["exchange_failing"] = _age(site, notes.fact("exchange_failing") or None)
        if configured or notes.fact("exchange"):  # else nobody is to send them
            facts["events_behind"] = notes.unsent()
        refused = _age(site, notes.fact("refused_at"))
        if refused is not None and refused < REFUSED_TOLD_SECONDS:
            facts["events_refused"] = int(notes.fact("refused") or 0)
        facts["events_apart"] = notes.apart()
        behind = site.record.latest() - site.now()
        facts["clock_behind"] = max(0.0, behind.total_seconds())
        facts["stations"] = len({chain.station for chain in notes.own_chains()})
    except (TagkitError, sqlite3.Error, ValueError) as error:
        # Without the place of the file: a monitor on the network has no use for it.
        facts |= {"record_open": False, "problem": getattr(error, "problem", "it is damaged")}
    return Health(
        disk_free_bytes=free_bytes(site.directory),
        record_bytes=_size(site),
        exchange_configured=configured,
        **facts,
    )


def open_metrics(found: Health, served: Mapping[str, int] | None = None) -> str:
    """The same as OpenMetrics text (the exposition format 1.0.0), ending in ``# EOF``.

    ``served``: what the server counts beside it, by name.
    """
    gauges = [
        ("tagkit_record_open", "Whether the record can be read.", int(found.record_open)),
        ("tagkit_record_read_only", "Whether it can't be written.", int(bool(found.read_only))),
        ("tagkit_disk_free_bytes", "Free on the record's disk.", found.disk_free_bytes),
        ("tagkit_record_bytes", "Size of the record's file.", found.record_bytes),
        (
            "tagkit_backup_age_seconds",
            "Since the last backup; +Inf: there is none.",
            _or_never(found.backup_age),
        ),
        (
            "tagkit_exchange_configured",
            "Whether an exchange is named.",
            int(found.exchange_configured),
        ),
        (
            "tagkit_exchange_age_seconds",
            "Since the last exchange; +Inf: never.",
            _or_never(found.exchange_age) if found.exchange_configured else found.exchange_age,
        ),
        ("tagkit_exchange_failing_seconds", "Since it fails.", found.exchange_failing),
        ("tagkit_exchange_events_behind", "Not sent yet.", found.events_behind),
        ("tagkit_exchange_events_refused", "By an exchange within a day.", found.events_refused),
        ("tagkit_events_apart", "Set apart for a wild clock.", found.events_apart),
        ("tagkit_clock_behind_seconds", "Of this computer, by the record.", found.clock_behind),
        ("tagkit_stations", "Stations that have recorded.", found.stations),
        ("tagkit_troubles", "Things somebody must see to.", len(found.troubles)),
        *((f"tagkit_{name}", f"Open {name}.", count) for name, count in (served or {}).items()),
    ]
    lines = ["# TYPE tagkit_build info", f'tagkit_build_info{{version="{__version__}"}} 1']
    for name, helps, value in gauges:
        if value is not None:
            unit = name.rpartition("_")[2]
            lines.append(f"# TYPE {name} gauge")
            if unit in ("bytes", "seconds"):
                lines.append(f"# UNIT {name} {unit}")
            lines += [f"# HELP {name} {helps}", f"{name} {value}"]
    return "\n".join([*lines, "# EOF", ""])


def _or_never(age: float | None) -> float | str:
    """An alarm at some age must go off where there never was one, too."""
    return "+Inf" if age is None else age


def _age(site: Site, moment: str | None) -> float | None:
    if moment is None:
        return None
    return max(0.0, (site.now().astimezone(UTC) - datetime.fromisoformat(moment)).total_seconds())


def _size(site: Site) -> int:
    try:
        return site.record.path.stat().st_size
    except OSError:
        return 0
