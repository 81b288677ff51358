"""Whether the site is well: can the record be read and written, and what needs a hand.

For whoever watches the computer, not for whoever works at it: figures and reasons, no numbers of
batteries and no codes of people.
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from tagkit.errors import TagkitError
from tagkit.jobs.site import Site
from tagkit.record.store import FILE_NAME

LEAST_DISK = 200_000_000
"""Bytes. Below this the record may soon not be writable."""

WILD = timedelta(minutes=5)
"""This computer's clock may be this far behind the record's latest time."""


@dataclass(frozen=True)
class Health:
    """``reasons`` are sentences about what is not well; none means well."""

    reasons: tuple[str, ...]
    notices: tuple[str, ...]
    """What people should be told although all works, like “this record is a copy”."""
    free_disk: int
    record_size: int
    latest: datetime | None
    """The latest time in the record."""

    @property
    def well(self) -> bool:
        """Whether the site can be relied on."""
        return not self.reasons

    def to_json(self) -> dict[str, Any]:
        """For a monitor."""
        return {
            "well": self.well,
            "reasons": list(self.reasons),
            "notices": list(self.notices),
            "free_disk_bytes": self.free_disk,
            "record_bytes": self.record_size,
            "latest_event_at": self.latest.isoformat() if self.latest else None,
        }


def health(site: Site) -> Health:
    """How the site is. Never raises for a record that is not well: that is the answer."""
    reasons = []
    latest = None
    free = shutil.disk_usage(site.directory).free
    if free < LEAST_DISK:
        reasons.append(f"only {free // 1_000_000} MB are free on the disk of the record")
    try:
        latest = site.record.latest()
    except TagkitError as error:
        reasons.append(error.problem)
    if latest is not None and latest > site.now() + WILD:
        reasons.append("this computer's clock is behind the record's latest time")
    path = site.directory / FILE_NAME
    return Health(
        tuple(reasons),
        tuple(site.record.notices),
        free,
        path.stat().st_size if path.exists() else 0,
        latest if latest and latest > datetime.fromtimestamp(0, UTC) else None,
    )
