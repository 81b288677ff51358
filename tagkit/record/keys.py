"""A station's keys: every epoch of a station has an Ed25519 key pair of its own.

The private key lies in the site's folder ``keys/``, one PEM file per epoch, named after the
epoch; the public one stands in the first event of the epoch. ``cryptography`` is imported only
when something is signed or checked.
"""

from __future__ import annotations

import base64
import os
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

from tagkit.errors import WrongInput

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey


def ready_to_sign() -> None:
    """Imports what signing needs, which takes a moment: before others wait for it."""
    import nacl.bindings  # noqa: F401


KEY_BYTES = 32
"""Length of a public key."""

SIGNATURE_BYTES = 64


def epoch_of(public_key: bytes) -> str:
    """The name of the epoch with this public key: 80 bits of its SHA-256, base 32."""
    return base64.b32encode(sha256(public_key).digest()[:10]).decode("ascii").lower()


class StationKey:
    """The private key of one epoch."""

    def __init__(self, private: Ed25519PrivateKey) -> None:
        self.public: bytes = private.public_key().public_bytes_raw()
        self._secret = private.private_bytes_raw() + self.public
        self.epoch = epoch_of(self.public)

    def sign(self, raw: bytes) -> bytes:
        """The signature over stored bytes, 64 bytes; by libsodium, see :func:`signed_by`."""
        from nacl.bindings import crypto_sign

        return crypto_sign(raw, self._secret)[:SIGNATURE_BYTES]


def new_key(folder: Path) -> StationKey:
    """A fresh key, safely on disk before it is used."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import (
        Encoding,
        NoEncryption,
        PrivateFormat,
    )

    private = Ed25519PrivateKey.generate()
    key = StationKey(private)
    pem = private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _write_private(folder / f"{key.epoch}.pem", pem)
    except OSError as error:
        raise WrongInput(
            f"the station's key can't be written: {error.strerror}",
            "Check that this user may write there and that the disk is not full",
            str(folder),
        ) from None
    return key


def _write_private(path: Path, content: bytes) -> None:
    """Writes a file that other users of the computer can't read (where the system knows that)."""
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    with os.fdopen(os.open(path, flags, 0o600), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def load_key(folder: Path, epoch: str) -> StationKey | None:
    """The key of ``epoch``, or None when it is not here or not the right one."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        private = load_pem_private_key((folder / f"{epoch}.pem").read_bytes(), password=None)
    except (OSError, ValueError, TypeError):
        return None
    if not isinstance(private, Ed25519PrivateKey):
        return None
    key = StationKey(private)
    return key if key.epoch == epoch else None


def signed_by(public_key: bytes, raw: bytes, signature: bytes) -> bool:
    """Whether ``signature`` over ``raw`` was made with this key's private half.

    By libsodium, which is twice as fast here as OpenSSL, refuses keys that would sign anything,
    and lets other threads work meanwhile.
    """
    from nacl.bindings import crypto_sign_open
    from nacl.exceptions import CryptoError

    if len(public_key) != KEY_BYTES or len(signature) != SIGNATURE_BYTES:
        return False
    try:
        crypto_sign_open(signature + raw, public_key)
    except CryptoError:
        return False
    return True
