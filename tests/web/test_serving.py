"""Serving: to this computer alone, or to a network under TLS and with accounts."""

from __future__ import annotations

import json
import logging
import os
import signal
import socket
import ssl
import stat
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from access_room import LEAD, PIN
from cryptography import x509
from tagkit.cli.main import app_with
from tagkit.errors import NotFound, WrongInput
from tagkit.jobs.people import authorise
from tagkit.jobs.site import create_site
from tagkit.web.logs import JsonLines, PlainLines
from tagkit.web.options import ServeOptions
from tagkit.web.server import check_options, listening
from tagkit.web.tls import RENEW, VALID, addresses, certificate_for, given_certificate
from typer.testing import CliRunner, Result

NOW = datetime(2031, 5, 4, 8, 0, tzinfo=UTC)
HOSTS = ("192.0.2.7", "2001:db8::7", "room.example")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "site"
    with create_site(made, "QM") as site:
        authorise(site, LEAD, "LE", "supervisor", None, None, by=LEAD, station="desk")
    return made


def tagkit(*words: str, typed: str = "") -> Result:
    """A command, in this process; a mishap is in ``exception``."""
    return CliRunner().invoke(app_with(words[0]), [*words], input=typed)


def give_pin(folder: Path) -> None:
    told = tagkit("pin", "lead", "--site", str(folder), typed=f"{PIN}\n{PIN}\n")
    assert told.exit_code == 0, told.exception
    assert PIN not in told.output


@contextmanager
def running(*words: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A server of its own; gives the process and the address that it told."""
    process = subprocess.Popen(
        [sys.executable, "-u", "-m", "tagkit", *words], stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True, encoding="utf-8",
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
    )  # fmt: skip
    try:
        assert process.stdout
        for line in process.stdout:
            if line.startswith(("Open http", "{")):
                break
        else:
            raise AssertionError(process.stderr.read() if process.stderr else "")
        yield process, json.loads(line)["address"] if line.startswith("{") else line.split()[1]
    finally:
        process.kill()
        process.communicate()


def get(address: str, context: ssl.SSLContext | None = None, **headers: str) -> tuple[int, str]:
    asked = urllib.request.Request(address, headers=headers)
    try:
        with urllib.request.urlopen(asked, timeout=90, context=context) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as refused:
        return refused.code, refused.read().decode()


def interrupt(process: subprocess.Popen[str]) -> int:
    process.send_signal(signal.SIGINT)
    return process.wait(90)


def test_a_site_is_served_until_it_is_stopped_and_that_is_no_failure(folder: Path) -> None:
    with running("serve", "--site", str(folder), "--log", "json") as (process, address):
        assert address.startswith("http://127.0.0.1:")
        status, page = get(f"{address}/")
        assert status == 200 and "QM" in page
        assert get(f"{address}/", Host="evil.example")[0] == 421
        # A page that stays open for live events does not keep the server from stopping.
        with socket.create_connection(("127.0.0.1", int(address.rpartition(":")[2]))) as kept:
            host = address.removeprefix("http://")
            kept.sendall(f"GET /live/changes HTTP/1.1\r\nHost: {host}\r\n\r\n".encode())
            kept.settimeout(90)
            assert b"200" in kept.recv(20)
            assert interrupt(process) == 0
        assert process.stdout and "Stopped." in process.stdout.read()
        assert process.stderr
        lines = [json.loads(line) for line in process.stderr.read().splitlines()]
        requests = [line for line in lines if line["what"] == "request"]
        assert [one["status"] for one in requests] == [200, 421, 200]
        assert requests[0]["path"] == "/" and requests[0]["ms"] > 0


def test_a_network_is_not_served_without_tls(folder: Path) -> None:
    for host in ("0.0.0.0", "192.0.2.7", "::"):
        with pytest.raises(WrongInput, match="--lan"):
            check_options(ServeOptions(folder, host=host))


def test_a_network_is_not_served_without_accounts(folder: Path, tmp_path: Path) -> None:
    with create_site(tmp_path / "empty", "QM"):
        pass
    with pytest.raises(WrongInput, match="tagkit authorise"):
        check_options(ServeOptions(tmp_path / "empty", host="0.0.0.0", lan=True))
    with pytest.raises(WrongInput, match=f"tagkit pin {LEAD}"):
        check_options(ServeOptions(folder, host="0.0.0.0", lan=True))


def test_a_network_is_served_under_tls_to_stations_enrolled_by_a_code(folder: Path) -> None:
    give_pin(folder)
    words = ("serve", "--site", str(folder), "--lan", "--host", "127.0.0.1", "--json")
    with running(*words) as (process, address):
        assert address.startswith("https://127.0.0.1:")
        trusted = ssl.create_default_context(cafile=str(folder / "tls" / "certificate.pem"))
        status, page = get(f"{address}/shift", trusted)
        assert status == 200 and "Begin a shift" in page
        with pytest.raises(urllib.error.URLError, match="CERTIFICATE_VERIFY_FAILED"):
            get(f"{address}/shift", ssl.create_default_context())
        told = tagkit("enrol", "bay-2", "--site", str(folder), "--json")
        assert len(json.loads(told.stdout)["code"]) == 9
        assert interrupt(process) == 0


def test_the_address_is_drawn_as_a_code_that_a_phone_reads(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    import numpy as np
    from tagkit.cli import serving
    from tagkit.reader.decoders import decode_all

    drawn: list[str] = []
    monkeypatch.setattr(serving, "line", lambda text="", style="": drawn.append(text))
    monkeypatch.setattr(sys, "stdout", sys.__stdout__)
    for terminal, dark, light in ((False, 0, 255), (True, 255, 0)):
        drawn.clear()
        monkeypatch.setattr(serving, "on_terminal", lambda on=terminal: on)
        serving._print_code("https://192.0.2.7:8642")
        rows = [row.removeprefix("\x1b[30;107m").removesuffix("\x1b[0m") for row in drawn]
        # A terminal without colours draws light characters on a dark ground, the other the
        # reverse; what is drawn is then the light, or the dark.
        shade = {" ": (dark, dark), "█": (light, light), "▀": (light, dark), "▄": (dark, light)}
        grid = [[shade[character][half] for character in row] for row in rows for half in (0, 1)]
        grey = np.kron(np.array(grid, np.uint8), np.ones((6, 6), np.uint8))
        assert decode_all(grey) == ["https://192.0.2.7:8642"]


def test_a_certificate_names_every_address_and_its_key_is_private(tmp_path: Path) -> None:
    made = certificate_for(tmp_path, HOSTS, NOW)
    parsed = x509.load_pem_x509_certificate(made.path.read_bytes())
    names = parsed.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert {str(name.value) for name in names} == set(HOSTS)
    assert made.until == NOW + VALID
    if os.name == "posix":
        assert stat.S_IMODE(made.key.stat().st_mode) == 0o600
        assert stat.S_IMODE(made.key.parent.stat().st_mode) == 0o700


def test_a_certificate_is_kept_until_it_is_about_to_expire(tmp_path: Path) -> None:
    made = certificate_for(tmp_path, HOSTS, NOW)
    soon = NOW + VALID - RENEW
    assert certificate_for(tmp_path, HOSTS[:2], soon - timedelta(hours=1)) == made
    renewed = certificate_for(tmp_path, HOSTS, soon + timedelta(hours=1))
    assert renewed.fingerprint != made.fingerprint and renewed.until > made.until


def test_a_new_address_or_a_damaged_file_makes_a_new_certificate(tmp_path: Path) -> None:
    first = certificate_for(tmp_path, HOSTS, NOW)
    second = certificate_for(tmp_path, (*HOSTS, "192.0.2.8"), NOW)
    assert second.fingerprint != first.fingerprint
    second.key.write_text("no key", encoding="utf-8")
    third = certificate_for(tmp_path, HOSTS, NOW)
    assert third.fingerprint != second.fingerprint
    assert given_certificate(third.path, third.key).fingerprint == third.fingerprint


def test_a_certificate_of_ones_own_must_go_with_its_key(tmp_path: Path) -> None:
    one = certificate_for(tmp_path / "a", HOSTS, NOW) if (tmp_path / "a").mkdir() is None else None
    (tmp_path / "b").mkdir()
    other = certificate_for(tmp_path / "b", HOSTS, NOW)
    assert one
    with pytest.raises(WrongInput, match="belong together"):
        given_certificate(one.path, other.key)
    with pytest.raises(WrongInput, match=r"can't be read|belong together"):
        given_certificate(tmp_path / "none.pem", other.key)


def test_this_computers_addresses_are_names_and_numbers_without_a_port() -> None:
    for one in addresses():
        assert one == one.lower() and "%" not in one and one not in ("localhost", "")


def test_the_next_free_port_is_taken_when_none_was_asked_for(folder: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        made = listening(ServeOptions(folder, port=port), any_port=True)
        assert made.getsockname()[1] > port
        made.close()
        with pytest.raises(WrongInput, match="is taken"):
            listening(ServeOptions(folder, port=port), any_port=False)


def test_the_links_on_labels_are_answered(folder: Path) -> None:
    give_pin(folder)
    path = folder / "site.toml"
    text = path.read_text(encoding="utf-8").replace('host = ""', 'host = "Labels.Example"')
    path.write_text(text, encoding="utf-8")
    options = check_options(ServeOptions(folder, host="192.0.2.7", lan=True))
    assert {"192.0.2.7", "labels.example", "127.0.0.1"} <= set(options.hosts)
    assert replace(options, port=1).address == "https://192.0.2.7:1"


def test_a_pin_typed_differently_or_for_nobody_is_not_taken(folder: Path) -> None:
    told = tagkit("pin", LEAD, "--site", str(folder), typed=f"{PIN}\n111\n")
    assert isinstance(told.exception, WrongInput) and "not the same" in str(told.exception)
    nobody = tagkit("pin", "X", "--site", str(folder))
    assert isinstance(nobody.exception, NotFound)


def test_a_line_of_the_log_stays_one_line() -> None:
    record = logging.makeLogRecord(
        {"name": "tagkit.web", "msg": "request", "levelname": "INFO",
         "path": "/a\r\n08:00:00 request path=/forged", "created": time.time()}
    )  # fmt: skip
    for form in (JsonLines(), PlainLines()):
        assert len(form.format(record).splitlines()) == 1
    assert json.loads(JsonLines().format(record))["path"].startswith("/a\r\n")
