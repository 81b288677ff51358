"""Sealing a file with a password.

A file begins with a line that names the format, one of JSON with what the key is derived by
(scrypt, RFC 7914), and then the content in chunks, each encrypted and authenticated by
AES-256-GCM. The nonce of a chunk counts; whether it is the last one is authenticated with it,
so that chunks can be neither changed, moved, left out nor cut off.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from tagkit.errors import WrongInput

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

MAGIC = b"tagkit sealed backup 1\n"
CHUNK = 1 << 20
TAG_BYTES = 16
COST = 1 << 17
"""Of scrypt, with blocks of 8: 128 MiB and about half a second for each guess."""
SHORTEST_PASSWORD = 12


def is_sealed(file: Path) -> bool:
    """Whether the file begins as a sealed one does."""
    with file.open("rb") as opened:
        return opened.read(len(MAGIC)) == MAGIC


def seal(plain: Path, target: Path, password: str) -> str:
    """Writes ``plain`` sealed into ``target``; the SHA-256 of what was read."""
    if len(password) < SHORTEST_PASSWORD:
        raise WrongInput(
            "the password is too short",
            f"Take at least {SHORTEST_PASSWORD} characters, best several words",
        )
    facts = {"kdf": "scrypt", "n": COST, "r": 8, "p": 1, "salt": os.urandom(16).hex(),
             "cipher": "AES-256-GCM", "chunk": CHUNK}  # fmt: skip
    head = MAGIC + json.dumps(facts, sort_keys=True).encode("ascii") + b"\n"
    cipher, digest = _cipher(facts, password), sha256()
    with plain.open("rb") as source, target.open("wb") as sealed:
        sealed.write(head)
        number, chunk = 0, source.read(CHUNK)
        while True:
            following = source.read(CHUNK)
            digest.update(chunk)
            last = not following
            sealed.write(cipher.encrypt(_nonce(number), chunk, _bound(head, last)))
            if last:
                break
            number, chunk = number + 1, following
        sealed.flush()
        os.fsync(sealed.fileno())
    return digest.hexdigest()


def unseal(file: Path, target: Path | None, password: str) -> str:
    """Writes the content of a sealed file into ``target`` (None: only checks it); its SHA-256.

    WrongInput for a wrong password or a file that was changed: the two can't be told apart.
    """
    digest = sha256()
    with file.open("rb") as sealed:
        chunks = _opened(sealed, password, str(file))
        if target is None:
            for chunk in chunks:
                digest.update(chunk)
        else:
            with target.open("wb") as plain:
                for chunk in chunks:
                    digest.update(chunk)
                    plain.write(chunk)
    return digest.hexdigest()


def _opened(sealed: BinaryIO, password: str, where: str) -> Iterator[bytes]:
    from cryptography.exceptions import InvalidTag

    magic, line = sealed.readline(100), sealed.readline(1000)
    try:
        facts = json.loads(line)
        size = int(facts["chunk"])
        if magic != MAGIC or not 0 < size <= 1 << 26 or int(facts["n"]) > 1 << 20:
            raise ValueError
        cipher = _cipher(facts, password)
    except (ValueError, KeyError, TypeError):
        raise WrongInput("this is no sealed backup, or a damaged one", "Use another", where) from (
            None
        )
    number, chunk = 0, sealed.read(size + TAG_BYTES)
    while True:
        following = sealed.read(size + TAG_BYTES)
        try:
            yield cipher.decrypt(_nonce(number), chunk, _bound(magic + line, not following))
        except (InvalidTag, ValueError):
            raise WrongInput(
                "the password is wrong, or the file was changed or cut off",
                "Type the password again, or use another backup",
                where,
            ) from None
        if not following:
            return
        number, chunk = number + 1, following


def _cipher(facts: dict[str, object], password: str) -> AESGCM:
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM
    from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

    n, r, p = (int(str(facts[name])) for name in ("n", "r", "p"))
    if r > 32 or p > 16:
        raise ValueError("these figures would take all of the computer's memory")
    kdf = Scrypt(salt=bytes.fromhex(str(facts["salt"])), length=32, n=n, r=r, p=p)
    return AESGCM(kdf.derive(password.encode("utf-8")))


def _nonce(number: int) -> bytes:
    # The key is used for one file only, its salt being random, so that counting is enough.
    return number.to_bytes(12, "big")


def _bound(head: bytes, last: bool) -> bytes:
    return head + (b"last" if last else b"more")
