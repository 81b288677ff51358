"""The certificate of a server in a company's own network, made by itself.

Browsers give their camera to secure pages only. The certificate names every address of this
computer, so that a browser that was once told to trust it can tell a forgery; it is made anew
before it expires, and when the addresses have changed.
"""

from __future__ import annotations

import contextlib
import ipaddress
import os
import socket
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from tagkit.errors import WrongInput
from tagkit.whole_file import whole_file

FOLDER = "tls"
VALID = timedelta(days=397)
"""The longest that browsers accept (CA/Browser Forum, baseline requirements 6.3.2)."""
RENEW = timedelta(days=30)


@dataclass(frozen=True)
class Certificate:
    """A certificate and its private key, as PEM files."""

    path: Path
    key: Path
    fingerprint: str
    """SHA-256, as browsers show it: whoever trusts it for the first time can compare."""
    until: datetime


def certificate_for(directory: Path, hosts: Sequence[str], now: datetime) -> Certificate:
    """The site's certificate for these names and addresses; made or renewed when need be."""
    folder = directory / FOLDER
    path, key = folder / "certificate.pem", folder / "key.pem"
    try:
        found = _loaded(path, key)
        if found is None or not _serves(found, hosts, now):
            folder.mkdir(mode=0o700, exist_ok=True)
            found = _make(path, key, hosts, now)
    except OSError as error:
        raise WrongInput(
            f"the certificate can't be written: {error.strerror}",
            "Check that this user may write there",
            str(folder),
        ) from None
    return _certificate(found, path, key)


def given_certificate(path: Path, key: Path) -> Certificate:
    """A certificate of the company's own; WrongInput when it and the key don't go together."""
    try:
        found = _loaded(path, key)
    except OSError as error:
        raise WrongInput(
            f"it can't be read: {error.strerror}", "Check the path", str(path)
        ) from None
    if found is None:
        raise WrongInput(
            "certificate and key can't be read, or don't belong together",
            "Give PEM files, the key without a password",
            str(path),
        )
    return _certificate(found, path, key)


def _certificate(found: x509.Certificate, path: Path, key: Path) -> Certificate:
    print_ = found.fingerprint(hashes.SHA256()).hex(":").upper()
    return Certificate(path, key, print_, found.not_valid_after_utc)


def _loaded(path: Path, key: Path) -> x509.Certificate | None:
    """The certificate, when both files are there and belong together."""
    if not path.exists() or not key.exists():
        return None
    try:
        found = x509.load_pem_x509_certificate(path.read_bytes())
        private = serialization.load_pem_private_key(key.read_bytes(), password=None)
    except (ValueError, TypeError):
        return None
    form = (serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo)
    same = private.public_key().public_bytes(*form) == found.public_key().public_bytes(*form)
    return found if same else None


def _serves(found: x509.Certificate, hosts: Sequence[str], now: datetime) -> bool:
    names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    has = {str(name.value) for name in names}
    return set(hosts) <= has and found.not_valid_before_utc <= now < (
        found.not_valid_after_utc - RENEW
    )


def _make(path: Path, key: Path, hosts: Sequence[str], now: datetime) -> x509.Certificate:
    private = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "tagkit")])
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + VALID)
        .add_extension(x509.SubjectAlternativeName([_general(host) for host in hosts]), False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), False)
        .sign(private, hashes.SHA256())
    )
    pem = private.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    _write(key, pem, 0o600)
    _write(path, made.public_bytes(serialization.Encoding.PEM), 0o644)
    return made


def _general(host: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(host))
    except ValueError:
        return x509.DNSName(host)


def _write(path: Path, content: bytes, mode: int) -> None:
    """Whole or not at all, and never readable by others in between."""
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    with whole_file(path) as part, os.fdopen(os.open(part, flags, mode), "wb") as file:
        file.write(content)


def addresses() -> list[str]:
    """The addresses of this computer in its networks, the one that others most likely reach
    first, and its names."""
    found: list[str] = []
    for family, far in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1")):
        # Asks the system which way it would send; nothing is sent (RFC 5737, RFC 3849).
        with contextlib.suppress(OSError), socket.socket(family, socket.SOCK_DGRAM) as asking:
            asking.connect((far, 9))
            found.append(asking.getsockname()[0])
    name = socket.gethostname().lower()
    with contextlib.suppress(OSError):
        found += [str(info[4][0]) for info in socket.getaddrinfo(name, None)]
    names = [name, f"{name.partition('.')[0]}.local"] if name != "localhost" else []
    plain = (one.partition("%")[0] for one in found)
    reachable = [one for one in plain if not ipaddress.ip_address(one).is_link_local]
    return list(dict.fromkeys([*reachable, *(one for one in names if _is_name(one))]))


def _is_name(name: str) -> bool:
    return name.isascii() and all(part for part in name.split("."))
