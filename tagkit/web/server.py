"""Serving a site: to this computer alone, or to its network under TLS."""

from __future__ import annotations

import errno
import socket
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import uvicorn

from tagkit.errors import WrongInput
from tagkit.jobs.site import open_site, system_clock
from tagkit.web.access.devices import new_code
from tagkit.web.access.pins import has_pin
from tagkit.web.access.store import AccessStore
from tagkit.web.app import create_app
from tagkit.web.logs import set_up
from tagkit.web.options import LOOPBACK, ServeOptions
from tagkit.web.tls import Certificate, addresses, certificate_for

NEXT_PORTS = 50
LARGEST_MESSAGE = 3_100_000
"""Bytes over a WebSocket: a frame of a camera, and a little."""
EVERYWHERE = ("0.0.0.0", "::")


def check_options(options: ServeOptions) -> ServeOptions:
    """The options, completed; WrongInput for a network without TLS and accounts."""
    if not options.lan:
        if options.host not in LOOPBACK:
            raise WrongInput(
                f"{options.host} can be reached from other computers",
                "Add --lan: it serves them under TLS, to enrolled stations and people with a PIN",
                "--host",
            )
        return options
    with open_site(options.directory) as site:
        supervisors = [
            one.code for one in site.record.people().values() if one.role == "supervisor"
        ]
        in_labels = site.settings.labels.host.partition(":")[0]
    _require_accounts(options.directory, supervisors)
    own = addresses() if options.host in EVERYWHERE else [options.host]
    if options.host == "0.0.0.0":
        own = [one for one in own if ":" not in one]
    hosts = [*own, *options.hosts, *([in_labels] if in_labels else [])]
    return replace(options, hosts=tuple(dict.fromkeys(host.lower() for host in hosts)))


def _require_accounts(directory: Path, supervisors: Sequence[str]) -> None:
    """Somebody must be able to say who may come in."""
    store = AccessStore(directory, for_now=True)
    try:
        if any(has_pin(store, code) for code in supervisors):
            return
    finally:
        store.close()
    if not supervisors:
        raise WrongInput(
            "nobody is recorded as a supervisor, so nobody could say who may come in",
            "Record one with “tagkit authorise CODE --role supervisor --by CODE”, then choose a "
            "PIN with “tagkit pin CODE”",
            "--lan",
        )
    raise WrongInput(
        "no supervisor has a PIN, so nobody could enrol a station from the network",
        f"Choose one with “tagkit pin {supervisors[0]}”",
        "--lan",
    )


def listening(options: ServeOptions, any_port: bool) -> socket.socket:
    """The socket, bound; with ``any_port`` the next free one when the port is taken."""
    family = socket.AF_INET6 if ":" in options.host else socket.AF_INET
    ports = range(options.port, options.port + (NEXT_PORTS if any_port else 1))
    for port in ports:
        made = socket.socket(family, socket.SOCK_STREAM)
        if hasattr(socket, "SO_REUSEADDR") and not hasattr(socket, "SO_EXCLUSIVEADDRUSE"):
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind((options.host, port))
            made.listen(128)
        except OSError as error:
            made.close()
            if error.errno == errno.EADDRINUSE or getattr(error, "winerror", 0) == 10013:
                continue
            raise WrongInput(
                f"{options.host} port {port} can't be listened on: {error.strerror}",
                "Name another with --host and --port",
            ) from None
        return made
    raise WrongInput(
        f"port {options.port} is taken by another program",
        "Name another one with --port, or end the other program",
        "--port",
    )


def certificate(options: ServeOptions, now: datetime) -> Certificate | None:
    """What the network is served with; None for this computer alone."""
    return certificate_for(options.directory, options.hosts, now) if options.lan else None


def first_code(options: ServeOptions, clock: Callable[[], datetime] = system_clock) -> str | None:
    """A one-time code for the first station; None when one is enrolled already, or none can be."""
    with open_site(options.directory) as site:
        if site.record.bar:
            return None
    store = AccessStore(options.directory)
    try:
        if store.one("SELECT 1 FROM stations LIMIT 1"):
            return None
        return new_code(store, "", "server", clock().timestamp())
    finally:
        store.close()


def serve(
    options: ServeOptions,
    listener: socket.socket,
    tls: Certificate | None,
    log: str = "quiet",
    ready: Callable[[], None] = lambda: None,
) -> None:
    """Serve until it is stopped (Ctrl-C, or the system's request to end); then return.

    ``options`` are those of :func:`check_options`, ``listener`` that of :func:`listening`;
    ``ready`` is called when pages are answered.
    """
    app = create_app(options)
    set_up(log)
    config = uvicorn.Config(
        app,
        log_config=None,
        access_log=False,
        proxy_headers=False,  # nobody may say for others where they come from
        server_header=False,
        ssl_certfile=str(tls.path) if tls else None,
        ssl_keyfile=str(tls.key) if tls else None,
        ws_max_size=LARGEST_MESSAGE,
        timeout_keep_alive=20,
        timeout_graceful_shutdown=3,
        limit_concurrency=200,
    )
    server = _Server(config, ready)
    try:
        server.run(sockets=[listener])
    except KeyboardInterrupt:
        pass  # stopping is how serving ends
    finally:
        listener.close()


class _Server(uvicorn.Server):
    """Tells when it answers."""

    def __init__(self, config: uvicorn.Config, ready: Callable[[], None]) -> None:
        super().__init__(config)
        self._ready = ready

    async def startup(self, sockets: Sequence[socket.socket] | None = None) -> None:
        await super().startup(sockets=list(sockets) if sockets else None)
        if self.started:
            self._ready()
