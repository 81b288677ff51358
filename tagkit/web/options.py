"""How the web app is served."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

LOOPBACK = ("127.0.0.1", "::1", "localhost")


@dataclass(frozen=True)
class ServeOptions:
    """One site, served to one computer or to its network.

    ``lan``: other computers reach it, so that there are TLS, enrolled stations and accounts.
    ``hosts``: the names and addresses it answers to. ``camera``: the server's own camera or a
    video, shown and read at the station of this computer.
    """

    directory: Path
    host: str = "127.0.0.1"
    port: int = 8642
    lan: bool = False
    hosts: tuple[str, ...] = LOOPBACK
    camera: str | int | None = None

    @property
    def scheme(self) -> str:
        """Browsers give their camera to secure pages and to this computer's own only."""
        return "https" if self.lan else "http"

    @property
    def address(self) -> str:
        """What to open in a browser."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{self.scheme}://{host}:{self.port}"
