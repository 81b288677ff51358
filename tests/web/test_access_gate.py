"""What stands before every page: host, origin, form token, size, headers, roles."""

from __future__ import annotations

import base64
import hashlib
import importlib
import json
import pkgutil
import re
from collections.abc import Iterator

import pytest
from access_room import ATTENDANT, HOST, LEAD, PIN, TECHNICIAN, Room, room
from fastapi import APIRouter, WebSocket
from fastapi.testclient import TestClient
from starlette.websockets import WebSocketDisconnect
from tagkit.language.words import Words
from tagkit.web import routes
from tagkit.web.access.gate import LARGEST_BODY, LARGEST_UPLOAD
from tagkit.web.access.refused import TooManyTries
from tagkit.web.depends import ENTER, needs


@pytest.fixture(scope="module")
def here(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Room]:
    with room(tmp_path_factory.mktemp("here"), lan=False) as made:

        @made.app.websocket("/heard")
        async def heard(socket: WebSocket) -> None:
            await socket.accept()
            await socket.close()

        yield made


@pytest.fixture(scope="module")
def lan(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Room]:
    with room(tmp_path_factory.mktemp("lan"), lan=True) as made:
        yield made


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "", "[::1", "127.0.0.1@evil.example"]
)
def test_a_forged_host_is_refused(here: Room, host: str) -> None:
    answer = here.client().get("/", headers={"Host": host})
    assert answer.status_code == 421


_LARGE = {"Content-Length": "2000000", "Content-Type": "application/x-www-form-urlencoded"}


@pytest.mark.parametrize(
    ("method", "path", "headers", "status", "said", "way"),
    [
        ("GET", "/", {"Host": "evil.example"}, 421, "Esta dirección no es de las nuestras.", ""),
        ("POST", "/shift/open", {"Sec-Fetch-Site": "cross-site"}, 403, "de otro sitio web.", "/"),
        ("POST", "/shift/open", {"X-CSRF": "x"}, 403, "Esta página ha caducado", "/shift"),
        ("POST", "/shift/open", _LARGE, 413, "como máximo 1 MB.", "/shift"),
        ("GET", "/shift/open", {}, 405, "lo que envía un formulario", "/shift"),
        ("GET", "/guide/nothing", {}, 404, "No existe esa página.", "/guide"),
    ],
)
def test_who_is_turned_away_reads_why_in_their_own_language(
    here: Room, method: str, path: str, headers: dict[str, str], status: int, said: str, way: str
) -> None:
    asking = {"Accept": "text/html", "Accept-Language": "es-ES,es;q=0.9"}
    told = here.client().request(method, path, headers=asking | headers)
    assert told.status_code == status and '<html lang="es">' in told.text
    assert said in told.text and "<h1>Eso no funcionó</h1>" in told.text
    assert f'class="press" href="{way}"' in told.text or (not way and 'href="/"' not in told.text)
    program = here.client().request(method, path, headers={"Accept": "*/*"} | headers)
    assert program.status_code == status and ("<h1>" in program.text or program.json()["problem"])


def test_whoever_is_turned_away_gets_a_page_with_its_look_and_no_other(here: Room) -> None:
    told = here.client().get("/", headers={"Host": "evil.example", "Accept": "text/html"})
    (style,) = re.findall(r"<style>(.*?)</style>", told.text, re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = told.headers["content-security-policy"]
    assert f"style-src 'sha256-{digest}'" in policy
    assert "default-src 'none'" in policy and "unsafe" not in policy
    assert "/static/" not in told.text  # it would be refused, too
    assert "prefers-color-scheme: dark" in style


def test_how_long_to_wait_is_told_in_the_readers_language() -> None:
    spanish = Words("es", "metric", None)
    waits = [spanish.said(TooManyTries("", seconds).remedy) for seconds in (50, 660)]
    assert waits == ["Espere un minuto.", "Espere 11 minutos."]


def test_the_hosts_own_names_are_answered_on_any_port(here: Room) -> None:
    for host in ("127.0.0.1", "127.0.0.1:9999"):
        assert here.client().get("/shift", headers={"Host": host}).status_code == 200


def test_a_form_without_its_token_is_refused(here: Room) -> None:
    client = here.client()
    del client.headers["X-CSRF"]
    refused = client.post("/shift/open", data={"who": LEAD})
    assert refused.status_code == 403 and "out of date" in refused.text
    assert "No shift is open here" in client.get("/shift").text


def test_the_token_of_another_browser_is_refused(here: Room) -> None:
    client, other = here.client(), here.client()
    client.headers["X-CSRF"] = other.headers["X-CSRF"]
    assert here.begin(client, LEAD) == 403


def test_the_token_of_the_page_opens_its_form(here: Room) -> None:
    client = TestClient(here.app, base_url=here.base, follow_redirects=False)
    page = client.get("/shift").text
    token = page.partition('name="csrf" value="')[2].partition('"')[0]
    assert client.post("/shift/open", data={"who": LEAD}).status_code == 403
    assert client.post("/shift/open", data={"who": LEAD, "csrf": token}).status_code == 303
    assert "<dd>LEAD</dd>" in client.get("/shift").text


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:1234"},
        {"Origin": "https://127.0.0.1:8642"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_what_another_site_makes_the_browser_send_is_refused(
    here: Room, headers: dict[str, str]
) -> None:
    answer = here.client().post("/shift/open", data={"who": LEAD}, headers=headers)
    assert answer.status_code == 403 and "another site" in answer.json()["problem"]


def test_a_socket_opens_for_our_own_pages_only(here: Room) -> None:
    client = here.client()
    address = here.base.replace("http", "ws") + "/heard"
    with client.websocket_connect(address, headers={"Origin": here.base}):
        pass
    for headers in (
        {"Origin": "http://evil.example"},
        {"Host": "evil.example", "Origin": "http://evil.example"},
    ):
        with (
            pytest.raises(WebSocketDisconnect),
            client.websocket_connect("/heard", headers=headers),
        ):
            pass


def unsafe_routes() -> list[tuple[str, str]]:
    """Method and path of everything in the pages' modules that changes something."""
    found = set()
    for module in pkgutil.iter_modules(routes.__path__, "tagkit.web.routes."):
        for router in vars(importlib.import_module(module.name)).values():
            for route in router.routes if isinstance(router, APIRouter) else ():
                for method in (getattr(route, "methods", None) or set()) - {"GET", "HEAD"}:
                    path = re.sub(r"\{[^}]*\}", "x", route.path)
                    found.add((method, path))
    return sorted(found)


def test_no_page_takes_a_form_without_its_token(here: Room) -> None:
    """A page that forgot to stand behind the door would be found here."""
    client = here.client()
    here.begin(client, LEAD)
    del client.headers["X-CSRF"]
    taken = []
    assert len(unsafe_routes()) > 5
    for method, path in unsafe_routes():
        for sent in ({"data": {"x": "y"}}, {"json": {}}, {}):
            answer = client.request(method, path, **sent)
            if answer.status_code == 404:
                continue  # written, but not yet put into the app
            if answer.status_code != 403 or "out of date" not in answer.text:
                taken.append((method, path, answer.status_code))
    assert taken == []


def test_every_answer_says_what_the_browser_may_do(here: Room) -> None:
    client = here.client()
    for path in ("/", "/shift", "/no-such-page", "/static/app.css", "/api/assets", "/health"):
        headers = client.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'self'" in policy and "unsafe" not in policy and "http" not in policy
        assert "frame-ancestors 'none'" in policy and "object-src 'none'" in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"
        kept = "no-cache" if path.startswith("/static") else "no-store"
        assert headers["cache-control"] == kept, path


def test_the_cookie_is_not_for_scripts_nor_for_other_sites(here: Room, lan: Room) -> None:
    plain = TestClient(here.app, base_url=here.base).get("/shift").headers["set-cookie"]
    assert plain.startswith("tagkit=") and "HttpOnly" in plain and "SameSite=Lax" in plain
    client = TestClient(lan.app, base_url=lan.base, client=("192.0.2.9", 1))
    secure = client.get("/shift").headers["set-cookie"]
    assert secure.startswith("__Host-tagkit=") and "; Secure" in secure and "Path=/;" in secure
    assert "Domain" not in secure


def test_a_huge_upload_is_refused_before_it_is_read(here: Room) -> None:
    client = here.client()
    told = client.post(
        "/shift/open",
        content=b"x",
        headers={
            "Content-Length": str(LARGEST_UPLOAD + 1),
            "Content-Type": "multipart/form-data; boundary=x",
        },
    )
    assert told.status_code == 413
    large = client.post("/shift/open", data={"who": "x" * LARGEST_BODY})
    assert large.status_code == 413


def test_an_upload_that_hides_its_length_is_cut_off(here: Room) -> None:
    taken = 0

    def endless() -> Iterator[bytes]:
        nonlocal taken
        yield b"who="
        while taken < 30 * LARGEST_BODY:
            taken += 100_000
            yield b"x" * 100_000

    told = here.client().post(
        "/shift/open",
        content=endless(),
        headers={"Content-Type": "application/x-www-form-urlencoded"},
    )
    assert told.status_code == 413
    assert "too large" in told.text


@pytest.mark.parametrize(
    ("kind", "content"),
    [
        ("multipart/form-data", b"no boundary"),
        ("multipart/form-data; boundary=x", b"--x\r\nnonsense"),
        (
            "multipart/form-data; boundary=x",
            b"--x\r\nContent-Disposition: form-data\r\n\r\n\r\n--x--",
        ),
        ("application/x-www-form-urlencoded", b"who=%ff%fe%00&pin=%zz&" + b"a=1&" * 5000),
        ("application/json", b"{"),
        ("application/json", b"[" * 100_000),
        ("text/plain", b"\x00\xff"),
    ],
)
def test_a_misshapen_form_is_refused_and_no_fault_of_ours(
    here: Room, kind: str, content: bytes
) -> None:
    answer = here.client().post("/shift/open", content=content, headers={"Content-Type": kind})
    assert 400 <= answer.status_code < 500, answer.text


def test_a_length_that_is_no_number_is_refused(here: Room) -> None:
    for length in ("-1", "1e9", "x"):
        answer = here.client().post("/shift/open", content=b"", headers={"Content-Length": length})
        assert answer.status_code in (400, 413)


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py", "/static/..%2f..%2fapp.py", "/static/%2e%2e/%2e%2e/site.toml",
        "/static/..\\..\\app.py", "/static//etc/passwd", "/static/%00", "/A/../../site.toml",
        "/A/..%2f..%2faccess.db", "/A/%2e%2e%2fsite.toml", "/stations/..%2f..%2fx/end",
        "/api/where/..%2f..%2fsite.toml", "/api/where/%00", "/guide/..%2f..%2faccess.db",
    ],
)  # fmt: skip
def test_a_path_leads_to_no_file_of_the_computer(here: Room, path: str) -> None:
    answer = here.client().get(path)
    assert answer.status_code in (400, 403, 404, 405, 422), answer.text
    for secret in ("[site]", "SQLite format", "root:", "from __future__"):
        assert secret not in answer.text


def test_roles_are_enforced_by_rank(lan: Room) -> None:
    lan.give_pin()
    reached = {}
    for number, (person, pin) in enumerate(((ATTENDANT, ""), (TECHNICIAN, ""), (LEAD, PIN))):
        station = lan.station(f"bay-{number}", f"192.0.2.{40 + number}")
        assert lan.begin(station, person, pin) == 303
        reached[person] = [role for role in ("attendant", "technician", "supervisor")
                           if station.get(f"/needs/{role}").status_code == 200]  # fmt: skip
    assert reached == {
        ATTENDANT: ["attendant"],
        TECHNICIAN: ["attendant", "technician"],
        LEAD: ["attendant", "technician", "supervisor"],
    }


@pytest.fixture(scope="module", autouse=True)
def _pages_for_each_role(lan: Room) -> None:
    from fastapi import Depends

    for role in ("attendant", "technician", "supervisor"):

        def page(visitor=Depends(needs(role))) -> dict[str, str]:
            return {"who": visitor.person}

        lan.app.add_api_route(f"/needs/{role}", page, dependencies=[ENTER])


def test_another_host_in_the_network_is_no_own_computer(lan: Room) -> None:
    assert lan.client("127.0.0.1").get("/metrics").status_code == 200
    assert lan.client("192.0.2.7").get("/metrics").status_code == 403
    passed_on = lan.client("127.0.0.1")
    assert passed_on.get("/metrics", headers={"X-Forwarded-For": "x"}).status_code == 403
    assert HOST in lan.base


def test_a_mishap_of_the_api_is_an_object(here: Room) -> None:
    told = here.client().get("/api/where/nonsense")
    assert told.status_code == 400
    assert set(json.loads(told.text)) == {"schema", "problem", "remedy", "where"}
