"""The history of assets from the exchange, wherever they have been."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from tagkit.exchange.layout import SENT_AT
from tagkit.exchange.pull import Fetched, fetch_followed

if TYPE_CHECKING:
    from tagkit.exchange.address import Connection
    from tagkit.record.record import Record


def fetch_history(record: Record, connection: Connection, tags: list[str]) -> Fetched:
    """Brings every event of these assets into ``record`` and follows them from now on."""
    fetched = Fetched()
    with record.noting() as notes:
        notes.follow(tags)
    while fetch_followed(record, connection, fetched):
        pass
    return fetched


def sent_last(connection: Connection, site: str) -> datetime | None:
    """When a site last sent something: how fresh what is known of it may be."""
    row = connection.execute(
        f"SELECT {SENT_AT} FROM tagkit.sites s WHERE s.site = %s", (site,)
    ).fetchone()
    return row[0] if row else None


def heads_there(connection: Connection, site: str) -> list[str]:
    """The ends of a site's chains as the exchange has them, as ``str(head)`` prints them."""
    rows = connection.execute(
        "SELECT epoch, sequence, hash FROM tagkit.heads WHERE site = %s ORDER BY epoch", (site,)
    ).fetchall()
    return [f"{epoch} {sequence} {digest}" for epoch, sequence, digest in rows]
