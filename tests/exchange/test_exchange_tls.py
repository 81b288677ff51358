"""Over a network the exchange must prove who it is before anything is said to it.

The server is a real one with a certificate of the company's own authority: with ssl=on where there
is a build that can, and with a front that does it for a build that can't. ``hostaddr`` lets a name
of another machine lead to it: to tagkit it is not on this computer.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import psycopg
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from postgres import Postgres, programs_with_tls
from tagkit.assets.tag import Kind
from tagkit.errors import Busy
from tagkit.exchange.address import checked, connect
from tagkit.exchange.layout import give_site, prepare
from tagkit.exchange.round import exchange
from tagkit.record.record import Record
from tls_front import TlsFront

HOST = "exchange.example"


@dataclass
class Authority:
    """Who signs certificates."""

    name: str

    def __post_init__(self) -> None:
        self.key = ec.generate_private_key(ec.SECP256R1())
        self.certificate = self.sign(self.name, self.key.public_key(), authority=True)

    def sign(
        self, name: str, key: ec.EllipticCurvePublicKey, authority: bool = False
    ) -> x509.Certificate:
        now = datetime.now(UTC)
        named = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
        issuer = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, self.name)])
        return (
            x509.CertificateBuilder()
            .subject_name(named)
            .issuer_name(issuer)
            .public_key(key)
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - timedelta(days=1))
            .not_valid_after(now + timedelta(days=30))
            .add_extension(x509.BasicConstraints(ca=authority, path_length=None), critical=True)
            .add_extension(x509.SubjectAlternativeName([x509.DNSName(name)]), critical=False)
            .sign(self.key, hashes.SHA256())
        )


def pem(certificate: x509.Certificate) -> bytes:
    return certificate.public_bytes(serialization.Encoding.PEM)


@dataclass
class Guarded:
    """An exchange with a certificate for HOST, and files with authorities."""

    server: Postgres
    plain: Postgres
    port: int
    company: Path
    stranger: Path
    front: TlsFront | None = None

    def address(
        self, host: str = HOST, tls: bool = True, who: str = "postgres", database: str = "postgres",
        **options: str,
    ) -> str:  # fmt: skip
        options.setdefault("hostaddr", "127.0.0.1")
        more = "&".join(f"{name}={value}" for name, value in options.items())
        port = self.port if tls else self.plain.port
        return f"postgresql://{who}@{host}:{port}/{database}?{more}"

    def encrypted(self, connection: psycopg.Connection[Any]) -> bool:
        """Whether the line of this connection is."""
        if self.front:
            return self.front.encrypted > 0 and connection.info.port == self.front.port
        row = connection.execute(
            "SELECT ssl, version FROM pg_stat_ssl WHERE pid = pg_backend_pid()"
        ).fetchone()
        return row is not None and row[0] and row[1] in ("TLSv1.2", "TLSv1.3")


@pytest.fixture(scope="module", params=["front", *(["server"] if programs_with_tls() else [])])
def guarded(
    request: pytest.FixtureRequest, postgres: Postgres, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Guarded]:
    folder = tmp_path_factory.mktemp("authorities")
    company, stranger = Authority("The company's own"), Authority("Somebody else's")
    for name, authority in (("company", company), ("stranger", stranger)):
        (folder / name).write_bytes(pem(authority.certificate))
    key = ec.generate_private_key(ec.SECP256R1())
    secret = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    shown = pem(company.sign(HOST, key.public_key()))
    trusted = folder / "company", folder / "stranger"
    if request.param == "front":
        (folder / "server.key").write_bytes(secret)
        (folder / "server.crt").write_bytes(shown)
        front = TlsFront(postgres.port, folder / "server.crt", folder / "server.key")
        yield Guarded(postgres, postgres, front.port, *trusted, front)
        front.close()
        return
    server = Postgres(bin=programs_with_tls())
    try:
        server.settings |= {
            "ssl": "on",
            "ssl_key_file": server.keep_file("server.key", secret),
            "ssl_cert_file": server.keep_file("server.crt", shown),
        }
        server.start()
        yield Guarded(server, postgres, server.port, *trusted)
    finally:
        server.remove()


def answers(address: str) -> bool:
    with connect(address) as connection:
        return connection.execute("SELECT 1").fetchone() == (1,)


def test_a_record_is_exchanged_encrypted_with_who_the_companys_own_authority_believes(
    guarded: Guarded, tmp_path: Path
) -> None:
    database = guarded.server.new_database()
    trusting = {"sslrootcert": str(guarded.company), "database": database}
    with connect(guarded.address(**trusting)) as line:
        assert guarded.encrypted(line)
        prepare(line)
        role, password = give_site(line, "QM", "Quillmoor")
    with Record.create(tmp_path / "site", "QM") as record:
        with record.writing("TS", "desk") as writing:
            writing.append("registered", [writing.issue(Kind.BATTERY)], {"nameplate": {}})
        for options in ({}, {"sslmode": "verify-full"}):
            address = guarded.address(who=f"{role}:{password}", **trusting, **options)
            with connect(address) as line:
                assert guarded.encrypted(line) and exchange(record, line).refused == ()
        with connect(address) as line:
            (sent,) = line.execute("SELECT count(*) FROM tagkit.events").fetchone()
        assert sent == 2


def test_a_certificate_of_another_authority_is_refused(guarded: Guarded) -> None:
    with pytest.raises(Busy, match="certificate verify failed"):
        connect(guarded.address(sslrootcert=str(guarded.stranger)))


def test_without_a_named_authority_only_the_systems_are_believed(guarded: Guarded) -> None:
    with pytest.raises(Busy, match="certificate"):
        connect(guarded.address())


def test_a_certificate_for_another_machine_is_refused(guarded: Guarded) -> None:
    with pytest.raises(Busy, match="does not match host name"):
        connect(guarded.address("other.example", sslrootcert=str(guarded.company)))


def test_a_plain_line_to_another_machine_is_refused_unless_the_address_wants_it(
    guarded: Guarded,
) -> None:
    """A server that knows no TLS: whoever sits on the line could pretend to be it."""
    with pytest.raises(Busy, match="does not support SSL"):
        connect(guarded.address(tls=False, sslrootcert=str(guarded.company)))
    assert answers(guarded.address(tls=False, sslmode="disable"))
    assert answers(guarded.address("localhost", tls=False))


@pytest.mark.parametrize(
    ("address", "environment"),
    [
        ("postgresql://me@localhost/db?hostaddr=203.0.113.7", {}),
        ("postgresql://me@localhost/db?host=db.example", {}),
        ("postgresql://me@localhost,db.example/db", {}),
        ("postgresql:///db?service=company", {}),
        ("postgresql:///db", {"PGHOST": "db.example"}),
        ("postgresql:///db", {"PGHOSTADDR": "203.0.113.7"}),
        ("postgresql:///db", {"PGSERVICE": "company"}),
    ],
)
def test_no_way_of_writing_another_machine_makes_it_this_one(
    address: str, environment: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    assert "sslmode=verify-full" in checked(address)


@pytest.mark.parametrize(
    "address",
    ["postgresql:///db", "postgresql://me@127.0.0.1/db", "postgresql:///db?host=/run/postgresql",
     "postgresql://me@[::1]/db"],
)  # fmt: skip
def test_this_computer_needs_no_certificate(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("PGHOST", "PGHOSTADDR", "PGSERVICE"):
        monkeypatch.delenv(name, raising=False)
    assert "sslmode" not in checked(address)


def test_a_dead_line_keeps_nothing_locked_for_hours(postgres: Postgres) -> None:
    """The server gives up a transaction whose other end says nothing, and who waits for the
    lock is told."""
    with connect(postgres.url("postgres")) as connection:
        for name in ("idle_in_transaction_session_timeout", "lock_timeout", "statement_timeout"):
            row = connection.execute(
                "SELECT setting::int FROM pg_settings WHERE name = %s", (name,)
            ).fetchone()
            assert row and 0 < row[0] <= 600_000, name
