"""The exchange's tables and roles, made by whoever runs it for the company.

Plain PostgreSQL: events and topics are partitioned by site; what a site may write is its own
partition (granted to its role) and its own rows of the small shared tables (row security).
Everything may be read by every site of the company.

    exchange    one row: which exchange this is
    sites       the site codes given out; ``version`` counts what each has sent
    heads       the end of every chain, with the public key that its first event stated
    directory   which sites have written of an asset: where to look
    events      stored bytes and signature, by chain and sequence
    topics      by which topics an event is asked for
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from tagkit.assets.tag import check_site_code
from tagkit.errors import NotFound, WrongInput
from tagkit.exchange.address import driver
from tagkit.record.envelope import LARGEST_WRITTEN

if TYPE_CHECKING:
    from tagkit.exchange.address import Connection

LAYOUT = 1

MOST_CONNECTIONS = 20
"""Of one site at a time: a server, a loop, some look-ups. Else one could take all there are."""


def _short(name: str, kind: str = "text") -> str:
    """A column that holds few bytes: whoever may write could otherwise make everybody's answers
    as large as the disk."""
    return f"{name} {kind} NOT NULL CHECK (octet_length({name}) <= 400)"


_TABLES = (
    "CREATE SCHEMA tagkit",
    "CREATE TABLE tagkit.exchange (id text PRIMARY KEY, layout integer NOT NULL, "
    "made_at timestamptz NOT NULL DEFAULT now())",
    "CREATE TABLE tagkit.sites (site text PRIMARY KEY, name text NOT NULL, "
    "role text NOT NULL UNIQUE, given_at timestamptz NOT NULL DEFAULT now(), "
    "version bigint NOT NULL DEFAULT 0, sent_at timestamptz)",
    "CREATE TABLE tagkit.heads (site text NOT NULL REFERENCES tagkit.sites, "
    f"{_short('epoch')}, "
    f"{_short('station')}, "
    f"{_short('public_key', 'bytea')}, sequence bigint NOT NULL, "
    f"{_short('hash')}, PRIMARY KEY (site, epoch))",
    f"CREATE TABLE tagkit.directory ({_short('topic')}, "
    "site text NOT NULL REFERENCES tagkit.sites, PRIMARY KEY (topic, site))",
    f"CREATE TABLE tagkit.events (site text NOT NULL, {_short('epoch')}, "
    "sequence bigint NOT NULL CHECK (sequence > 0), raw bytea NOT NULL "
    f"CHECK (octet_length(raw) <= {LARGEST_WRITTEN}), {_short('signature', 'bytea')}) "
    "PARTITION BY LIST (site)",
    f"CREATE TABLE tagkit.topics (site text NOT NULL, {_short('topic')}, "
    f"{_short('epoch')}, sequence bigint NOT NULL) "
    "PARTITION BY LIST (site)",
    "ALTER TABLE tagkit.sites ENABLE ROW LEVEL SECURITY",
    "ALTER TABLE tagkit.heads ENABLE ROW LEVEL SECURITY",
    "ALTER TABLE tagkit.directory ENABLE ROW LEVEL SECURITY",
)

_OWN = "site IN (SELECT s.site FROM tagkit.sites s WHERE s.role = current_user)"

_POLICIES = (
    "CREATE POLICY reading ON tagkit.sites FOR SELECT USING (true)",
    "CREATE POLICY reading ON tagkit.heads FOR SELECT USING (true)",
    "CREATE POLICY reading ON tagkit.directory FOR SELECT USING (true)",
    "CREATE POLICY counting ON tagkit.sites FOR UPDATE "
    "USING (role = current_user) WITH CHECK (role = current_user)",
    f"CREATE POLICY beginning ON tagkit.heads FOR INSERT WITH CHECK ({_OWN})",
    f"CREATE POLICY going_on ON tagkit.heads FOR UPDATE USING ({_OWN}) WITH CHECK ({_OWN})",
    f"CREATE POLICY telling ON tagkit.directory FOR INSERT WITH CHECK ({_OWN})",
)

_GRANTS = (
    "GRANT USAGE ON SCHEMA tagkit TO {sites}",
    "GRANT SELECT ON ALL TABLES IN SCHEMA tagkit TO {sites}",
    "GRANT UPDATE (version, sent_at) ON tagkit.sites TO {sites}",
    "GRANT INSERT ON tagkit.heads, tagkit.directory TO {sites}",
    # The public key of a chain is written once.
    "GRANT UPDATE (sequence, hash) ON tagkit.heads TO {sites}",
)


@dataclass(frozen=True)
class GivenSite:
    """A site code that was given out."""

    site: str
    name: str
    role: str
    given_at: datetime
    sent_at: datetime | None
    events: int


def prepare(connection: Connection) -> bool:
    """Makes the tables and roles; False when they are there already."""
    sql = driver().sql
    if connection.execute("SELECT to_regclass('tagkit.exchange')").fetchone()[0]:  # type: ignore[index]
        return False
    with connection.transaction():
        for statement in (*_TABLES, *_POLICIES):
            connection.execute(statement)
        connection.execute(
            "INSERT INTO tagkit.exchange VALUES (%s, %s)", (secrets.token_hex(16), LAYOUT)
        )
        group = f"{_database(connection)}_sites"
        if not _role_is_there(connection, group):
            connection.execute(sql.SQL("CREATE ROLE {} NOLOGIN").format(sql.Identifier(group)))
        # Whoever may only add to the own tables needs no others, which would fill the disk.
        connection.execute(
            sql.SQL("REVOKE TEMP ON DATABASE {} FROM PUBLIC").format(
                sql.Identifier(_database(connection))
            )
        )
        # Up to PostgreSQL 14 everybody may make tables there, and fill the disk with them.
        if connection.execute("SELECT 1 FROM pg_namespace WHERE nspname = 'public'").fetchone():
            connection.execute("REVOKE CREATE ON SCHEMA public FROM PUBLIC")
        for statement in _GRANTS:
            connection.execute(sql.SQL(statement).format(sites=sql.Identifier(group)))
    return True


def give_site(connection: Connection, code: str, name: str) -> tuple[str, str]:
    """Gives out a site code; the site's role and password, which is shown this once.

    WrongInput when the code was given out already: a code is never given out twice.
    """
    psycopg = driver()
    sql = psycopg.sql
    site = check_site_code(code)
    role, group = f"{_database(connection)}_{site.lower()}", f"{_database(connection)}_sites"
    taken = connection.execute(
        "SELECT name, given_at FROM tagkit.sites WHERE site = %s", (site,)
    ).fetchone()
    if taken:
        raise WrongInput(
            f"the site code {site} was given out to {taken[0] or 'a site'} on {taken[1]:%Y-%m-%d}",
            "Choose another one; a code is never given out twice",
        )
    password = secrets.token_urlsafe(24)
    # Only what the password is checked by goes over the line and into the server's logs.
    verifier = connection.pgconn.encrypt_password(
        password.encode(), role.encode(), b"scram-sha-256"
    ).decode()
    with connection.transaction():
        what = "ALTER" if _role_is_there(connection, role) else "CREATE"
        connection.execute(
            sql.SQL(what + " ROLE {} LOGIN PASSWORD {} CONNECTION LIMIT {}").format(
                sql.Identifier(role), sql.Literal(verifier), sql.Literal(MOST_CONNECTIONS)
            )
        )
        connection.execute(
            sql.SQL("GRANT {} TO {}").format(sql.Identifier(group), sql.Identifier(role))
        )
        connection.execute(
            "INSERT INTO tagkit.sites (site, name, role) VALUES (%s, %s, %s)", (site, name, role)
        )
        for table, key in (("events", "epoch, sequence"), ("topics", "topic, epoch, sequence")):
            partition = partition_of(table, site)
            connection.execute(
                sql.SQL(
                    "CREATE TABLE {} PARTITION OF {} (site DEFAULT {}, PRIMARY KEY ({})) "
                    "FOR VALUES IN ({})"
                ).format(
                    partition,
                    sql.Identifier("tagkit", table),
                    sql.Literal(site),
                    sql.SQL(key),
                    sql.Literal(site),
                )
            )
            connection.execute(
                sql.SQL("GRANT SELECT ON {} TO {}").format(partition, sql.Identifier(group))
            )
            connection.execute(
                sql.SQL("GRANT INSERT ON {} TO {}").format(partition, sql.Identifier(role))
            )
    return role, password


SENT_AT = "CASE WHEN s.sent_at > s.given_at - interval '1 day' THEN least(s.sent_at, now()) END"
"""When a site last sent something, as far as that can be: it writes the moment itself, and there
are moments that no program can read (infinity)."""


def sites(connection: Connection) -> list[GivenSite]:
    """The sites of the company, with how much each has sent."""
    rows = connection.execute(
        f"SELECT s.site, s.name, s.role, s.given_at, {SENT_AT}, "
        "(SELECT coalesce(sum(h.sequence), 0) FROM tagkit.heads h WHERE h.site = s.site) "
        "FROM tagkit.sites s ORDER BY s.site"
    ).fetchall()
    return [
        GivenSite(site, name, role, given_at, sent_at, int(events))
        for site, name, role, given_at, sent_at, events in rows
    ]


def admitted(connection: Connection, site: str) -> str:
    """The exchange's id, once it is sure that this address may speak for ``site``."""
    row = connection.execute(
        "SELECT x.id, x.layout, s.role, current_user, s.site, "
        "(SELECT rolsuper FROM pg_roles WHERE rolname = current_user) "
        "FROM tagkit.exchange x LEFT JOIN tagkit.sites s ON s.site = %s",
        (site,),
    ).fetchone()
    if row is None:
        raise WrongInput("this exchange is not whole", "Prepare it anew in an empty database")
    identity, layout, role, user, known, superuser = row
    if layout > LAYOUT:
        raise WrongInput("the exchange is of a newer tagkit", "Update tagkit on this computer")
    if known is None:
        raise NotFound(
            f"the site code {site} was not given out by this exchange",
            f"Have it given out: tagkit company {site} --name NAME --through URL",
        )
    if role != user and not superuser:
        raise WrongInput(
            f"this address belongs to “{user}”, and the record is of site {site}",
            f"Use the address that was given out for {site}, as user {role}",
        )
    return str(identity)


def partition_of(table: str, site: str) -> object:
    """The partition of a site, as a part of SQL."""
    return driver().sql.Identifier("tagkit", f"{table}_{check_site_code(site).lower()}")


def _database(connection: Connection) -> str:
    return str(connection.info.dbname)


def _role_is_there(connection: Connection, role: str) -> bool:
    found = connection.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", (role,))
    return found.fetchone() is not None
