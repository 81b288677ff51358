"""Walks through a web app as a hostile person would: every form that its pages hold, every query
parameter and path that its routes know, and what comes of it on every page and in every file.

Nothing here lists pages: routes are asked of the app, forms are found in the pages.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any
from urllib.parse import parse_qsl, quote, urlencode, urljoin, urlsplit
from xml.etree import ElementTree

from fastapi import FastAPI
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient
from httpx import Response
from openpyxl import load_workbook

MARK = "probemark"
"""Stands in every text, so that it is known again."""
MARKUP = (
    f"""{MARK}' onprobe=1 "><xss-probe onprobe=1></title></textarea></script>"""
    """<script>onprobe()</script><img src=x onerror=onprobe()>"""
    """{{31337*41227}}${31337*41227}<%=31337*41227%>{% raw %}' OR '1'='1'; DROP TABLE events;--"""
)
RECKONED = str(31337 * 41227)
SHORT = "x' onprobe=1 \"><xss-probe>"
TEXTS: Mapping[str, str] = {
    "markup": MARKUP,
    "short": SHORT,
    "formula": f"=1+1+{MARK}",
    "at": f"@{MARK}",
    "unseen": (
        f"\u202e{MARK}\u2066\u200b\u200d\ufeff\x85\u2028\U000e0041\x00\x01\x1b[2J\x07"
        "\r\nX-Probe: 1\r\nBEGIN:VEVENT\r\n\t=1+1"
    ),
    "path": f"../../../../../../{MARK}/../x",
    "drive": f"C:\\..\\{MARK}\x00.pdf",
    "long": f"{MARK} " + "W" * 10_000,
    "number": "-1e999",
    "nan": "nan",
    "digits": "9" * 400,
}
ANY_FILE = ("table.csv", b"number,started,ended\n1,2,3\n", "text/csv")
HALF = "%ED%A0%80" + MARK + "%FF"
"""Half a character of UTF-16 and a stray byte, as a browser of ill will would send them."""
_OF_TAGS = re.compile(r"\b([BTCLR])-?[A-Z]{2,4}-?\d{3,}-?[0-9A-Z*]\b", re.I)
_UNSEEN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b\u2028-\u202e\u2066-\u2069\ufeff]")
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "|")


def routes_of(app: FastAPI) -> list[APIRoute]:
    """Every endpoint of the app, however it was put in."""
    found: list[APIRoute] = []
    waiting = list(app.routes)
    for route in waiting:
        if isinstance(route, APIRoute):
            found.append(route)
        elif inner := getattr(route, "original_router", None):
            waiting.extend(inner.routes)
    return found


def parameters(route: APIRoute, where: str, must: bool = False) -> list[str]:
    """Names of its ``query_params``, ``path_params`` or ``body_params``, with those of what it depends on."""
    names: list[str] = []
    waiting = [route.dependant]
    for one in waiting:
        names += [
            known.alias for known in getattr(one, where)
            if known.field_info.is_required() or not must
        ]  # fmt: skip
        waiting.extend(one.dependencies)
    return list(dict.fromkeys(names))


@dataclass
class Form:
    """A form of a page with what a browser would send if nobody touched it."""

    action: str
    method: str
    fields: dict[str, list[str]] = field(default_factory=dict)
    files: list[str] = field(default_factory=list)
    typed: set[str] = field(default_factory=set)


class Reading(HTMLParser):
    """Forms, links and scripts of a page, as a browser's reader of HTML sees them."""

    def __init__(self, page: str, at: str) -> None:
        super().__init__(convert_charrefs=True)
        self.at, self.forms, self.links, self.ill = at, [], [], []  # type: ignore[var-annotated]
        self.lists: dict[str, list[str]] = {}
        self._form: Form | None = None
        self._select: tuple[str, list[tuple[str, bool]]] | None = None
        self._listed: list[str] | None = None
        self._asks: list[tuple[str, str]] = []
        self.feed(page)
        self.close()
        for form in self.forms:
            for name, listed in self._asks:
                if form.fields.get(name) == [""] and self.lists.get(listed):
                    form.fields[name] = [self.lists[listed][0]]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        if tag.startswith("xss") or any(name.startswith("onprobe") for name in said):
            self.ill.append(f"<{tag} {said}>")
        for name, value in said.items():
            if name.startswith("on") or (
                name in ("href", "src", "action", "formaction")
                and value.strip().lower().startswith(("javascript:", "data:text", "vbscript:"))
            ):
                self.ill.append(f"<{tag} {name}={value}>")
        if tag == "script" and "src" not in said and said.get("type") not in (
            "application/json", "application/ld+json",
        ):  # fmt: skip
            self.ill.append("a script within the page")
        for name in ("href", "hx-get", "src"):
            if name in said:
                self.links.append(urljoin(self.at, said[name]))
        if tag == "form":
            self._form = Form(
                urljoin(self.at, said.get("action") or self.at), said.get("method", "get").upper()
            )
            self.forms.append(self._form)
            if look := said.get("data-look"):
                self.forms.append(Form(urljoin(self.at, look), "POST", self._form.fields))
        elif tag == "datalist":
            self._listed = self.lists.setdefault(said.get("id", ""), [])
        elif tag == "select" and self._form:
            self._select = (said.get("name", ""), [])
        elif tag == "option":
            if self._select:
                self._select[1].append((said.get("value", ""), "selected" in said))
            elif self._listed is not None:
                self._listed.append(said.get("value", ""))
        elif tag in ("input", "textarea", "button") and self._form:
            self._control(tag, said)

    def _control(self, tag: str, said: dict[str, str]) -> None:
        assert self._form
        form, name, kind = self._form, said.get("name", ""), said.get("type", "text")
        if further := said.get("formaction"):
            self.forms.append(Form(urljoin(self.at, further), form.method, form.fields))
        if not name or name in ("csrf", "once"):
            return
        if kind == "file":
            form.files.append(name)
        elif kind in ("radio", "checkbox"):
            if "checked" in said or (kind == "radio" and name not in form.fields):
                form.fields[name] = [said.get("value", "on")]
            form.fields.setdefault(name, [])
        else:
            form.fields.setdefault(name, []).append(said.get("value", ""))
            if kind != "hidden" and tag != "button":
                form.typed.add(name)
            if listed := said.get("list"):
                self._asks.append((name, listed))

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._form = None
        elif tag == "datalist":
            self._listed = None
        elif tag == "select" and self._select and self._form:
            name, options = self._select
            chosen = [value for value, selected in options if selected and value]
            chosen = chosen or [value for value, _ in options if value][:1]
            self._form.fields[name] = chosen or [""]
            self._select = None


class Walk:
    """One walk through an app; ``faults`` is what must not be."""

    def __init__(
        self,
        app: FastAPI,
        client: TestClient,
        samples: Mapping[str, str] | None = None,
        ready: Callable[[], None] = lambda: None,
        files: Mapping[str, tuple[str, bytes, str]] | None = None,
    ) -> None:
        """``samples``: what a person would key in, by the name of a field or a path's part;
        ``ready`` makes the walker able to go on after each form (a shift that was ended)."""
        self.app, self.client, self.ready = app, client, ready
        self.samples, self.files = dict(samples or {}), dict(files or {})
        self.routes = routes_of(app)
        self.faults: list[str] = []
        self.forms: dict[tuple[str, ...], Form] = {}
        self.reached: Counter[str] = Counter()
        self.taken: Counter[str] = Counter()
        self.asked = 0
        self.page: Reading | None = None
        self.led: dict[str, str] = {}
        self.parts: dict[str, dict[str, str]] = {}
        self.told: Counter[str] = Counter()
        client.headers["accept"] = "text/html,*/*"

    # what is asked

    def ask(self, method: str, url: str, **options: Any) -> Response:
        """Ask, follow where it leads, look at the answer."""
        self.asked += 1
        answer = self.client.request(method, url, follow_redirects=False, **options)
        for _ in range(3):
            self.look_at(answer, f"{method} {url[:160]}")
            if method == "GET" and answer.status_code < 400:
                self._reach(urlsplit(str(answer.url)).path)
            if not answer.is_redirect:
                break
            leads = urljoin(str(answer.url), answer.headers["location"])
            if urlsplit(leads).netloc != urlsplit(str(self.client.base_url)).netloc:
                self.faults.append(f"{method} {url}: leads to {leads}")
                break
            answer, method = self.client.get(leads, follow_redirects=False), "GET"
            for link in (leads, *(self.page.links if self.page else ())):
                self.led.setdefault(_kind(link), link)
        return answer

    def _reach(self, path: str) -> None:
        if route := self.route("GET", path):
            self.reached[route.path] += 1
            if found := route.path_regex.match(path):
                self.parts.setdefault(route.path, found.groupdict())

    def route(self, method: str, path: str) -> APIRoute | None:
        """Which endpoint answers there."""
        return next(
            (r for r in self.routes if method in r.methods and r.path_regex.match(path)), None
        )

    # what must not be

    def look_at(self, answer: Response, told: str) -> None:
        """Take down everything in an answer that must not be there."""
        form = answer.headers.get("content-type", "").split(";")[0]
        ill: list[str] = []
        if answer.status_code >= 500:
            ill.append(f"{answer.status_code} {answer.text[:200]}")
        if "x-probe" in answer.headers:
            ill.append("a header of the sender's")
        if answer.headers.get("x-content-type-options") != "nosniff":
            ill.append("may be taken for another form")
        name = answer.headers.get("content-disposition", "")
        if MARK in name or "/" in name or "\\" in name:
            ill.append(f"a file named {name}")
        look = {
            "text/html": self._page, "image/svg+xml": self._drawing, "text/csv": self._csv,
            "application/json": self._json, "text/calendar": self._calendar,
            "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet": self._workbook,
        }.get(form)  # fmt: skip
        if look and answer.content and not answer.is_redirect:
            ill += look(answer)
            self.told[form] += MARK in answer.text
        elif form.startswith("text/") and form not in ("text/event-stream",) and not look:
            ill += [f"not looked at: {form}"] if MARK in answer.text else []
        self.faults += [f"{told}: {one}" for one in ill]

    def _page(self, answer: Response) -> list[str]:
        self.page = Reading(answer.text, str(answer.url))
        ill = self.page.ill
        if "<xss-probe" in answer.text:
            ill.append("unescaped: " + _around(answer.text, "<xss-probe"))
        if RECKONED in answer.text:
            ill.append("braces are reckoned: " + _around(answer.text, RECKONED))
        if unseen := _UNSEEN.search(answer.text):
            ill.append("what can't be seen: " + _around(answer.text, unseen[0]))
        return ill

    def _drawing(self, answer: Response) -> list[str]:
        try:
            tree = ElementTree.fromstring(answer.text)
        except ElementTree.ParseError as error:
            return [f"a drawing that is none: {error}"]
        return [
            one.tag
            for one in tree.iter()
            if one.tag.endswith(("xss-probe", "script", "foreignObject"))
            or any(name.startswith("on") for name in one.attrib)
        ]

    def _csv(self, answer: Response) -> list[str]:
        text = answer.content.decode("utf-8-sig")
        return [
            f"a formula: {cell!r}"
            for row in csv.reader(io.StringIO(text, newline=""))
            for cell in row
            if cell.startswith(_FORMULA) and not _is_figure(cell)
        ]

    def _workbook(self, answer: Response) -> list[str]:
        book = load_workbook(io.BytesIO(answer.content))
        cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
        self.told["workbook"] += any(MARK in str(cell.value) for cell in cells)
        return [
            f"a formula: {cell.value!r}"
            for cell in cells
            if cell.data_type == "f" or str(cell.value).startswith(_FORMULA[:1] + _FORMULA[4:])
        ]

    def _json(self, answer: Response) -> list[str]:
        json.loads(answer.content.decode("utf-8"))
        return []

    def _calendar(self, answer: Response) -> list[str]:
        lines = answer.text.replace("\r\n ", "").split("\r\n")
        ill = [line for line in lines if line.startswith(("X-Probe", "\t"))]
        if any(len(line.encode()) > 75 for line in answer.text.split("\r\n")):
            ill.append("a line that is too long")
        if any(char in answer.text for char in "\x00\x1b\x07"):
            ill.append("control characters in the calendar")
        return ill

    # going through

    def crawl(self, start: tuple[str, ...] = ("/",), most: int = 12) -> None:
        """Visit each page that links lead to, and each that only the app's routes tell of."""
        waiting = [*start, *self.led.values()]
        for route in self.routes:
            if "GET" in route.methods:
                waiting += self._addresses(route)
        counted: Counter[str] = Counter()
        pictures: set[str] = set()
        visited: set[str] = set()
        for url in waiting:
            parts = urlsplit(url)
            if parts.netloc and parts.netloc != urlsplit(str(self.client.base_url)).netloc:
                continue
            route = self.route("GET", parts.path)
            if route is None or route.path in pictures or route.path == "/live/changes":
                continue
            kind = _kind(url)
            if kind in visited or counted[route.path] >= most:
                continue
            visited.add(kind)
            counted[route.path] += 1
            answer = self.ask("GET", url)
            if answer.headers.get("content-type", "") == "image/png":
                pictures.add(route.path)
            if answer.headers.get("content-type", "").startswith("text/html"):
                waiting += self._read()

    def _read(self) -> list[str]:
        links = list(self.page.links)
        for form in self.page.forms:
            route = self.route(form.method, urlsplit(form.action).path)
            if route is None:
                continue
            if form.method == "GET":
                query = urlencode([(n, v[0]) for n, v in form.fields.items() if v])
                links.append(f"{form.action.partition('?')[0]}?{query}")
            names = sorted({_plain(name) for name in (*form.fields, *form.files)})
            self.forms.setdefault((form.method, route.path, *names), form)
        return links

    def _addresses(self, route: APIRoute) -> list[str]:
        """The address of a route from samples, for pages that no link leads to."""
        known = all(name in self.samples for name in parameters(route, "path_params"))
        query = urlencode([(name, self.samples[name])
                           for name in parameters(route, "query_params", must=True)
                           if name in self.samples])  # fmt: skip
        return [f"{self._path(route)}?{query}" if query else self._path(route)] if known else []

    def fill_in(self) -> None:
        """Send each text through each field of each form."""
        for turn, form in enumerate(sorted(self.forms.values(), key=_late)):
            if form.method == "POST":
                self._fill_in(form, turn)

    def _fill_in(self, form: Form, turn: int) -> None:
        told = _kind(urlsplit(form.action).path)
        plain = {name: self._usual(form, name) for name in form.fields}
        self._count(told, self._send(form, plain))
        others = [what for what in TEXTS if what not in ("markup", "short")]
        always = ("formula", "unseen", "long")
        seldom = [what for what in others if what not in always]
        taking: dict[str, str] = {}
        for name in form.fields:
            kind = _plain(name)
            if kind in taking.values() or name.endswith(("-2", "-3")):
                continue
            turn += 1
            second = ("short", others[turn // 2 % len(others)])[turn % 2]
            for what in ("markup", second) if name in form.typed else ("markup",):
                sent = self._send(form, {**plain, name: [TEXTS[what]]})
                if self._count(f"{told} {kind} {what}", sent):
                    taking[name] = kind
                    break
        seldom = [seldom[(turn + n) % len(seldom)] for n in range(2)]
        for what in (*always, *seldom) if taking else ():  # all that take any words at once
            sent = self._send(form, {**plain, **{name: [TEXTS[what]] for name in taking}})
            self._count(f"{told} all {what}", sent)
        if not form.files:
            body = "&".join(f"{quote(name)}={HALF}" for name in taking or form.fields)
            rest = urlencode(
                [(n, v) for n, values in plain.items() if n not in taking for v in values]
            )
            self.ready()
            self.ask("POST", form.action, content=f"{body}&{rest}",
                     headers={"content-type": "application/x-www-form-urlencoded"})  # fmt: skip
        for name in form.files:
            for what in ("markup", "unseen", "path", "long"):
                self._count(f"{told} {name} {what}", self._send(form, plain, (name, TEXTS[what])))

    def _count(self, told: str, answer: Response) -> bool:
        if answer.status_code < 400:
            self.taken[told] += 1
            return True
        return False

    def _usual(self, form: Form, name: str) -> list[str]:
        given = form.fields[name]
        if (name in form.typed and given == [""]) or not given:
            sample = self.samples.get(_plain(name))
            return [sample] if sample is not None else given
        return given

    def _send(
        self, form: Form, fields: dict[str, list[str]], file: tuple[str, str] | None = None
    ) -> Response:
        self.ready()
        if not form.files:
            return self.ask("POST", form.action, data=fields)
        files = {}
        for name in form.files:
            called, content, kind = self.files.get(name, ANY_FILE)
            if file and file[0] == name:
                called = file[1].replace("\x00", "") + called
            files[name] = (called, content, kind)
        return self.ask("POST", form.action, data=fields, files=files)

    def ask_oddly(self) -> None:
        """Texts in each query parameter and each part of a path that a route knows, by turns."""
        turn = 0
        texts = [quote(text[:4_000], safe="") for text in TEXTS.values()] + [HALF]
        for route in self.routes:
            asks = parameters(route, "query_params")
            for method in sorted(route.methods - {"HEAD"}):
                for name in asks if method == "GET" else ():
                    usual = [(n, self.samples[n]) for n in asks if n != name and n in self.samples]
                    for odd in (
                        texts[0],
                        TEXTS["nan"],
                        *(texts[(turn + n) % len(texts)] for n in range(2)),
                    ):
                        self.ask("GET", f"{self._path(route)}?{urlencode(usual)}&{name}={odd}")
                    turn += 2
                for name in parameters(route, "path_params"):
                    for odd in (texts[0], *(texts[(turn + n) % len(texts)] for n in range(2))):
                        self.ready()
                        self.ask(method, self._path(route, name, odd))
                    turn += 2

    def _path(self, route: APIRoute, name: str = "", odd: str = "") -> str:
        """The address of a route with samples for its parts, but for one."""

        known = {**self.samples, **self._parts_like(route)}

        def part(found: re.Match[str]) -> str:
            return odd if found[1] == name else quote(known.get(found[1], "x"), safe="")

        return re.sub(r"\{(\w+)(?::\w+)?\}", part, route.path)

    def _parts_like(self, route: APIRoute) -> dict[str, str]:
        """Parts of addresses that were met, of this route or of one that it goes on from."""
        return next(
            (parts for path, parts in self.parts.items() if route.path.startswith(path) and parts),
            {},
        )


def _kind(url: str) -> str:
    """Addresses of one kind of page are one: numbers by their letter, other figures as such."""
    parts = urlsplit(url)
    path = "/".join(_general(part) for part in parts.path.split("/"))
    query = "&".join(sorted(f"{n}={_general(v)}" for n, v in parse_qsl(parts.query)))
    return f"{path}?{query}" if query else path


def _general(part: str) -> str:
    if found := _OF_TAGS.match(part):
        return found[1].upper() + part[found.end() :]
    if MARK in part or len(part) > 40:
        return "#"
    return "#" if re.search(r"\d", part) and not part.endswith((".pdf", ".csv", ".xlsx")) else part


def _plain(name: str) -> str:
    """``gravity-7`` and ``gravity-8`` are one field."""
    return re.sub(r"\d+", "#", name)


def _late(form: Form) -> tuple[bool, str]:
    """What takes something away comes last."""
    return bool(re.search(r"/(close|end|throw-away|take|leave)$", form.action)), form.action


def _is_figure(cell: str) -> bool:
    return bool(re.fullmatch(r"-?\d+([.,]\d+)?%?", cell))


def _around(text: str, mark: str) -> str:
    at = text.index(mark)
    return repr(text[max(0, at - 90) : at + 60])
