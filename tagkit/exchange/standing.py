"""How often each site has sent something: by this “nothing new” is decided.

Every transaction that sends moves the number of its site, and only when it commits do others
see the number moved. So what is compared is all the numbers themselves, as one statement sees
them, and no sum or highest of them: whoever commits late or out of order changes it, and no
site can hide what another sends by counting backwards.
"""

from __future__ import annotations

from hashlib import sha256
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tagkit.exchange.address import Connection


def standing(connection: Connection) -> str:
    """Every site with its number, in one line; some 15 bytes a site, however many events."""
    row = connection.execute(
        "SELECT string_agg(site || ' ' || version::text, ',' ORDER BY site) FROM tagkit.sites"
    ).fetchone()
    return str(row[0]) if row and row[0] else ""


def versions_in(line: str) -> dict[str, int]:
    """Site -> its number."""
    pairs = (part.split(" ") for part in line.split(",") if part)
    return {site: int(version) for site, version in pairs}


def digest_of(line: str) -> str:
    """What a record keeps of it: SHA-256, hexadecimal."""
    return sha256(line.encode()).hexdigest()
