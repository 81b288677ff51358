"""Commands that serve the site, and those that say from its own computer who may come in."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tagkit.cli.options import HERE, AsJson, SiteDir, open_site
from tagkit.cli.show import json_out, line, on_terminal
from tagkit.errors import NotFound, WrongInput

if TYPE_CHECKING:
    from tagkit.web.options import ServeOptions
    from tagkit.web.tls import Certificate

PORT = 8642


def serve(
    port: Annotated[
        int | None,
        typer.Option("--port", min=1, max=65535, metavar="N",
                     help="Port to listen on; default 8642, or the next free one."),
    ] = None,
    lan: Annotated[
        bool,
        typer.Option("--lan", help="Serve the network too: under TLS, to stations enrolled by a "
                                   "one-time code and to people with a PIN."),
    ] = False,
    host: Annotated[
        str | None,
        typer.Option("--host", metavar="H", help="Address to listen on; default: this computer "
                                                 "only, with --lan all its addresses."),
    ] = None,
    camera: Annotated[
        str | None,
        typer.Option("--camera", metavar="SRC", help="This computer's own camera: its number, a "
                                                     "video file or a stream."),
    ] = None,
    certificate: Annotated[
        Path | None,
        typer.Option("--certificate", metavar="FILE", help="A TLS certificate of your own (PEM), "
                                                           "with --key; default: one is made."),
    ] = None,
    key: Annotated[
        Path | None, typer.Option("--key", metavar="FILE", help="The certificate's private key.")
    ] = None,
    log: Annotated[
        str,
        typer.Option("--log", metavar="quiet|text|json", help="What is told on standard error: "
                     "refusals and faults, every request as text, or all as JSON lines."),
    ] = "quiet",
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """Serve the pages of the site: the station, the fleet, deliveries, the guide, the API.

    For this computer alone, without a login, unless --lan is given. Ends with Ctrl-C and exit
    code 0.
    """
    from tagkit.web.options import ServeOptions

    if log not in ("quiet", "text", "json"):
        raise WrongInput(f"“{log}” is no form of log", "One of: quiet, text, json", "--log")
    if (certificate is None) != (key is None):
        raise WrongInput("certificate and key go together", "Give both or none", "--certificate")
    if certificate and not lan:
        raise WrongInput("a certificate is for the network", "Add --lan", "--certificate")
    options = ServeOptions(
        site,
        host=host or ("0.0.0.0" if lan else "127.0.0.1"),
        port=port or PORT,
        lan=lan,
        camera=int(camera) if camera and camera.isdecimal() else camera,
    )
    run(options, any_port=port is None, log=log, certificate=certificate, key=key, as_json=as_json)


def run(
    options: ServeOptions,
    *,
    any_port: bool,
    log: str = "quiet",
    certificate: Path | None = None,
    key: Path | None = None,
    as_json: bool = False,
) -> None:
    """Serve until Ctrl-C, telling where."""
    from tagkit.jobs.site import system_clock
    from tagkit.web import server
    from tagkit.web.tls import given_certificate

    with open_site(options.directory):
        pass  # a missing site is told before anything else
    options = server.check_options(options)
    listener = server.listening(options, any_port)
    if (taken := listener.getsockname()[1]) != options.port:
        if not as_json:
            line(f"Port {options.port} is taken by another program, so it is {taken} this time.")
        options = replace(options, port=taken)
    if certificate and key:
        tls: Certificate | None = given_certificate(certificate, key)
    else:
        tls = server.certificate(options, system_clock())
    server.serve(options, listener, tls, log, ready=lambda: _tell(options, tls, as_json))
    if not as_json:
        line("Stopped.")


def _tell(options: ServeOptions, tls: Certificate | None, as_json: bool) -> None:
    address = options.address
    if as_json:
        json_out(_told(options, tls))
        return
    if tls is None:
        line(f"Open {address} in a browser on this computer. Ctrl-C stops.", style="bold")
        return
    from tagkit.web.server import EVERYWHERE, first_code

    reached = options.hosts[0] if options.host in EVERYWHERE else options.host
    address = replace(options, host=reached).address
    _print_code(address)
    line(f"Open {address} on any device in this network. Ctrl-C stops.", style="bold")
    for other in options.hosts[1:]:
        if other not in ("127.0.0.1", "::1", "localhost"):
            line(f"  also as  {replace(options, host=other).address}")
    line(
        "Browsers ask once whether to trust the certificate, because this computer made it. Its "
        "fingerprint (SHA-256), to compare:"
    )
    line(f"  {tls.fingerprint}")
    if code := first_code(options):
        line("The first station: open the address there, “Make this device a station”, and type")
        line(f"  {code}", style="bold")
        line(
            "It works once, within 15 minutes. More codes: “tagkit enrol”, or Stations in the app."
        )
    else:
        line("Another device becomes a station by a code: “tagkit enrol”, or Stations in the app.")


def _told(options: ServeOptions, tls: Certificate | None) -> dict[str, Any]:
    from tagkit.web.server import EVERYWHERE, first_code

    reached = options.hosts[0] if options.host in EVERYWHERE else options.host
    return {
        "address": replace(options, host=reached).address,
        "hosts": list(options.hosts),
        "certificate_sha256": tls.fingerprint if tls else None,
        "station_code": first_code(options) if tls else None,
    }


def _print_code(text: str) -> None:
    """The address as a QR code: dark on light whatever the terminal's colours, half blocks."""
    import qrcode

    encoding = (sys.stdout.encoding or "").lower().replace("-", "")
    if not encoding.startswith("utf"):
        return  # this console has no half blocks; the address stands below
    code = qrcode.QRCode(border=4, error_correction=qrcode.ERROR_CORRECT_M)
    code.add_data(text)
    rows = code.get_matrix()
    rows += [[False] * len(rows[0])] * (len(rows) % 2)
    dark_on_light = ("\x1b[30;107m", "\x1b[0m") if on_terminal() else ("", "")
    # Without colours light is drawn, for terminals are mostly dark.
    halves = "█▀▄ " if not on_terminal() else " ▄▀█"
    for upper, lower in zip(rows[::2], rows[1::2], strict=True):
        drawn = "".join(halves[_which(a, b)] for a, b in zip(upper, lower, strict=True))
        line(f"{dark_on_light[0]}{drawn}{dark_on_light[1]}")


def _which(upper: bool, lower: bool) -> int:
    return 3 if upper and lower else 2 if upper else 1 if lower else 0


def pin(
    person: Annotated[str, typer.Argument(metavar="CODE", help="The person's code.")],
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Choose a person's PIN, typed twice and not shown; only at the computer that serves.

    A supervisor needs one to act as such from the network, anyone to begin a shift on a device
    that is no station. Shifts that the person has open end.

    Example: tagkit pin SW
    """
    from tagkit.web.access.pins import choose_pin
    from tagkit.web.access.store import AccessStore

    code = person.strip().upper()
    with open_site(site) as opened:
        opened.record.check_writable()
        if opened.record.person(code) is None:
            raise NotFound(
                f"{code} is not recorded at this site", "Record the person with “tagkit authorise”"
            )
        now = opened.now().timestamp()
    first = _typed("PIN (6 to 12 digits): ")
    if first != _typed("The same again: "):
        raise WrongInput("the two are not the same", "Type it again", "PIN")
    store = AccessStore(site)
    try:
        choose_pin(store, code, first, now)
    finally:
        store.close()
    if as_json:
        json_out({"person": code, "pin": "chosen"})
    else:
        line(f"{code} has a PIN now.")


def _typed(question: str) -> str:
    """A line that is not shown; from a pipe it is read as it comes."""
    if sys.stdin is None or not sys.stdin.isatty():
        return (sys.stdin.readline() if sys.stdin else "").rstrip("\r\n")
    import getpass

    return getpass.getpass(question)


def enrol(
    station: Annotated[
        str, typer.Argument(metavar="[STATION]", help="Its name, like bay-2; else asked there.")
    ] = "",
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Make a one-time code by which a device of the network becomes a station.

    It works once, within 15 minutes.
    """
    from tagkit.web.access.devices import CODE_MINUTES, new_code
    from tagkit.web.access.store import AccessStore

    with open_site(site) as opened:
        opened.record.check_writable()
        now = opened.now().timestamp()
    store = AccessStore(site)
    try:
        code = new_code(store, station.strip(), "server", now)
    finally:
        store.close()
    if as_json:
        json_out({"code": code, "station": station.strip() or None, "minutes": CODE_MINUTES})
        return
    line(code, style="bold")
    line("Type it on the device, under Shift, “Make this device a station”. It works once, within "
         f"{CODE_MINUTES} minutes.")  # fmt: skip
