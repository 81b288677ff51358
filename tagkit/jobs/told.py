"""Who told the last of an asset: this site, or another one through the exchange."""

from __future__ import annotations

from tagkit.jobs.site import Site
from tagkit.record.state import AssetState


def told_elsewhere(site: Site, state: AssetState) -> tuple[str, str | None] | None:
    """The site that told the last of an asset, and when this one last exchanged; None when what
    is known of it was recorded here."""
    event = site.record.event(state.last_event)
    if event is None or event.site == site.record.site:
        return None
    return event.site, site.record.notes().fact("exchanged_at")
