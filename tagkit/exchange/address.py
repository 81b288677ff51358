"""The address of an exchange: a PostgreSQL URL, whose secrets are never shown.

psycopg is imported only here and only when an exchange is spoken to; it comes with the extra
``exchange``.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl, quote, unquote, urlencode, urlsplit, urlunsplit

from tagkit.errors import Busy, TagkitError, WrongInput

if TYPE_CHECKING:
    import psycopg

    Connection = psycopg.Connection[Any]

SCHEMES = ("postgresql", "postgres")
SECRET_OPTIONS = ("password", "sslpassword", "passfile", "sslkey")
HERE = ("", "localhost", "127.0.0.1", "::1")
ALIVE = {
    "keepalives_idle": "30",
    "keepalives_interval": "10",
    "keepalives_count": "3",
    "tcp_user_timeout": "60000",
}
SESSION = {
    "statement_timeout": "10min",
    "lock_timeout": "1min",
    # A line that died must not keep the site's row locked until the server's system notices.
    "idle_in_transaction_session_timeout": "2min",
    "tcp_keepalives_idle": "30",
    "tcp_keepalives_interval": "10",
    "tcp_keepalives_count": "3",
}
ANSWERS_WITHIN = 10
"""Seconds to wait for a connection, unless the address says otherwise."""


def shown(address: str) -> str:
    """The address as it may be printed: without passwords."""
    try:
        parts = urlsplit(address)
        host = parts.hostname or ""
        port = f":{parts.port}" if parts.port else ""
    except ValueError:
        return "(an address that can't be read)"
    if parts.scheme not in SCHEMES:
        return "(an address that can't be read)"
    user = f"{quote(unquote(parts.username))}@" if parts.username else ""
    host = f"[{host}]" if ":" in host else host
    options = [pair for pair in parse_qsl(parts.query) if pair[0] not in SECRET_OPTIONS]
    return urlunsplit((parts.scheme, f"{user}{host}{port}", parts.path, urlencode(options), ""))


def checked(address: str) -> str:
    """The address with what is missing for a safe connection; WrongInput when it is none.

    Over a network the server must show a certificate for its name, unless the address asks for
    something else with ``sslmode``.
    """
    try:
        parts = urlsplit(address)
        options = dict(parse_qsl(parts.query, keep_blank_values=True))
        hosts = _hosts(parts.hostname or "", options)
        _ = parts.port
    except ValueError:
        parts, options, hosts = urlsplit(""), {}, []
    if parts.scheme not in SCHEMES or not parts.path.strip("/"):
        raise WrongInput(
            "this is not the address of an exchange",
            "Write it like postgresql://USER@HOST/DATABASE",
            "--through",
        )
    options.setdefault("connect_timeout", str(ANSWERS_WITHIN))
    options.setdefault("application_name", "tagkit")
    # A line that went dead without a word is given up after a minute, not after hours.
    for name, value in ALIVE.items():
        options.setdefault(name, value)
    here = all(host in HERE or host.startswith("/") for host in hosts)
    if not here and "sslmode" not in options:
        options["sslmode"] = "verify-full"
        options.setdefault("sslrootcert", "system")
    return urlunsplit(parts._replace(query=urlencode(options)))


def for_site(address: str, role: str, password: str) -> tuple[str, str]:
    """What is told to a site that was given out: the address for its ``site.toml``, and the line
    for its password file.

    ``address`` is that of whoever gave it out.
    """
    parts = urlsplit(address)
    server = (parts.netloc.rpartition("@")[2]) or "HOST"
    there = urlunsplit(parts._replace(netloc=f"{role}@{server}", query=""))
    host = parts.hostname or "*"
    words = (host, str(parts.port or 5432), parts.path.strip("/"), role, password)
    return there, ":".join(re.sub(r"([\\:])", r"\\\1", word) for word in words)


def _hosts(host: str, options: dict[str, str]) -> list[str]:
    """Every machine that the driver may take the address for, also by the environment."""
    named = [options.get("host", host), options.get("hostaddr", "")]
    if not any(named):
        named = [os.environ.get("PGHOST", ""), os.environ.get("PGHOSTADDR", "")]
    if "service" in options or "PGSERVICE" in os.environ:
        named.append("of a service file")
    return [one for name in named for one in name.split(",")]


def connect(address: str) -> Connection:
    """A connection without transactions of its own; errors name the address without secrets."""
    psycopg = driver()
    safe = checked(address)
    with spoken_to(address):
        connection: Connection = psycopg.connect(safe, autocommit=True)
        # In one question, and only those that the engine knows.
        connection.execute(
            "SELECT set_config(s.name, w.value, false) FROM pg_settings s "
            "JOIN unnest(%s::text[], %s::text[]) AS w(name, value) ON w.name = s.name",
            (list(SESSION), list(SESSION.values())),
        )
        return connection


def driver() -> Any:
    """psycopg; WrongInput that says how to get it when it is missing."""
    try:
        import psycopg
    except ImportError:
        raise WrongInput(
            "exchanging with other sites needs the package psycopg",
            "Install it: pip install 'tagkit[exchange]'",
        ) from None
    return psycopg


@contextmanager
def spoken_to(address: str) -> Iterator[None]:
    """Turns errors of the exchange into ones that a person can mend."""
    psycopg = driver()
    try:
        yield
    except TagkitError:
        raise
    except psycopg.errors.InsufficientPrivilege as error:
        raise WrongInput(
            f"the exchange does not allow this ({said(error, address)})",
            "Use the address that was given out for this site, or ask who runs the exchange",
            shown(address),
        ) from None
    except (psycopg.errors.UndefinedTable, psycopg.errors.InvalidSchemaName):
        raise WrongInput(
            "this database is not an exchange yet",
            "Prepare it first: tagkit company --prepare --through URL",
            shown(address),
        ) from None
    except psycopg.errors.DiskFull as error:
        raise Busy(
            f"the disk of the exchange's database is full, so nothing can be sent "
            f"({said(error, address)})",
            "Tell who runs the exchange to make room there; everything recorded here is safe "
            "and is sent later",
            shown(address),
        ) from None
    except psycopg.OperationalError as error:
        if "no password supplied" in str(error) or "password authentication failed" in str(error):
            raise Busy(
                f"the exchange asks for another password than it was given "
                f"({said(error, address)})",
                "Put the password that was given out for this site into the file that PGPASSFILE "
                "names, as HOST:PORT:DATABASE:USER:PASSWORD, readable by its owner only",
                shown(address),
            ) from None
        raise Busy(
            f"the exchange can't be reached, or the connection broke ({said(error, address)})",
            "Check the address and the network; everything recorded here is safe and is sent later",
            shown(address),
        ) from None
    except psycopg.Error as error:
        raise Busy(
            f"the exchange answered with an error ({said(error, address)})",
            "Try again; if it stays, ask who runs the exchange",
            shown(address),
        ) from None


def said(error: Exception, address: str) -> str:
    """What a driver's error says, in one line and without the secrets of the address."""
    text = " ".join(str(error).split())[:300] or type(error).__name__
    for secret in _secrets(address):
        text = text.replace(secret, "…")
    return re.sub(r"postgres(ql)?://\S+", "…", text).rstrip(".")


def _secrets(address: str) -> list[str]:
    try:
        parts = urlsplit(address)
        found = [parts.password or "", unquote(parts.password or "")]
        found += [value for name, value in parse_qsl(parts.query) if name in SECRET_OPTIONS]
    except ValueError:
        return []
    return [secret for secret in found if secret]
