"""Every sentence the pages show, found in the sources: what a catalogue has to translate.

``python tests/web/catalogue.py`` names those that the Spanish catalogue lacks, and those it
has but nobody says any more; with ``--renew`` it writes an empty entry for each of the former
and takes the latter out.

Sentences that rules and jobs make around figures are f-strings; as entries their figures are
named gaps (``hot {temperature}``) and their context is ``made``.
"""

from __future__ import annotations

import ast
import io
import re
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import write_po
from tagkit.assets.fields import fields_of
from tagkit.assets.kinds import PLATES
from tagkit.assets.stated import Source
from tagkit.assets.tag import Kind
from tagkit.jobs.charge import CHARGE_KINDS
from tagkit.jobs.month import DONE_NAMES
from tagkit.jobs.people import ROLES
from tagkit.jobs.step_words import TITLES
from tagkit.jobs.steps import NOTE
from tagkit.jobs.telling import DUE_TITLES
from tagkit.language.catalogue import catalogue
from tagkit.record.care_bodies import (
    EXTENTS,
    INCIDENTS,
    INSPECTIONS,
    LEVELS,
    REPAIRS,
    VOLTAGE_TAKEN,
)
from tagkit.rules.flags import SEVERITIES
from tagkit.station.words import ENGLISH
from tagkit.web.views import states
from tagkit.web.views.care_acts import ACTS

ROOT = Path(__file__).resolve().parents[2]
TAGKIT = ROOT / "tagkit"
SPANISH = TAGKIT / "language" / "locale" / "es.po"

MADE_IN = (
    "assets/card.py", "assets/designation.py", "assets/fields.py", "assets/legible.py", "assets/stated.py",
    "assets/tag.py", "intake/cells.py", "intake/columns.py", "intake/delivery.py",
    "intake/grid.py", "intake/leftovers.py", "intake/row_kind.py", "intake/rows.py",
    "intake/sheet.py", "intake/textfile.py", "intake/workbook.py", "jobs/*.py",
    "reader/grading.py", "reader/trouble.py",
    "record/contradictions.py", "record/plate_words.py", "record/read_only.py", "record/store.py",
    "record/words.py", "rules/*.py", "units.py",
    "web/access/*.py",
    "web/booth/live.py", "web/booth/noted.py", "web/depends.py", "web/problems.py",
    "web/routes/*.py", "web/runs.py", "web/second.py", "web/views/*.py",
)  # fmt: skip
"""Modules whose sentences reach a page as English text …"""
NOT_ON_PAGES = frozenset(
    ("jobs/calendar.py", "jobs/camera.py", "jobs/cell_chart.py", "jobs/cell_layout.py",
     "jobs/charts.py", "jobs/condition.py", "jobs/csv_export.py",
     "jobs/demo.py", "jobs/distance.py", "jobs/exchange.py", "jobs/health.py",
     "jobs/keep.py", "jobs/label_sets.py", "jobs/logs.py",
     "jobs/log_guesses.py", "jobs/looking.py", "jobs/order.py", "jobs/plan_report.py",
     "jobs/plates.py", "jobs/preview.py", "jobs/report.py", "jobs/roster.py",
     "jobs/samples.py", "jobs/scratch.py", "jobs/site.py",
     "jobs/step_words.py", "jobs/tables.py", "rules/acid.py", "rules/pool.py",
     "rules/pool_simulation.py", "web/access/browser.py", "web/access/doorstep.py",
     "web/access/store.py", "web/access/visitors.py", "web/routes/api.py",
     "web/routes/health.py", "web/routes/live.py")
)  # fmt: skip
"""… but for files, printed reports, charts, commands and queries."""

NEVER_SHOWN = re.compile(
    r"^guide/|^held=|^out-of-service-|IS NOT NULL|^camera=|"
    r"^# |instr\(|^assets\.tag$| GLOB |SELECT |DELETE FROM|UPDATE |INSERT|"
    r"IN \(|INDEXED BY|^/|[a-z]+/[a-z]+;|^private,|"
    r"^tagkit |^d MMM|^default-src|attachment;|%[YHdm]|^-+|^[A-Z]{1,2}$|^\d[\d ./–-]*([a-zA-Z°]+)?$|^csv$|"
    r"^lifting$|^\W*\w?\W*$|tagkit_|\?done=|^[A-Za-z:/]+[-_.]?\{\w+\}(\.?\{\w+\})*$|^\.\{|"
    r"\?mode=|^journal_mode|^Could not decode$|^no such |^malformed$|"
    r"\}\.jpg$|\{:|^UTC|^CARD-|^pin |^noted |^\{\w+\} Ah$|^enrol at|^a station's line broke$"
)
"""What looks like a sentence and is none: queries, addresses, formats, names of options."""
_HEADERS_READ = frozenset(
    ("lead acid", "blei saure", "plomo acido", "battery type", "battery model", "type model",
     "v dc", "v cc", "amp hours", "ampere hours", "amp hour", "deg c", "deg f", "own computer", "cell no",
     "specific gravity", "placas descubiertas", "placas al aire", "en la marca", "por encima",
     "shift opened", "elsewhere", "name", "seen", "field", "value", "words", "now", "rested",
     "fleet_number", "state", "page", "stations")
)  # fmt: skip
"""Words that are read, or names in the code."""
_CALLS_NOT_SHOWN = frozenset(
    ("compile", "match", "fullmatch", "search", "sub", "finditer", "startswith", "endswith", "get",
     "post", "getLogger", "warning", "exception", "execute", "strip", "rstrip", "lstrip", "split",
     "partition", "rpartition", "replace", "Query", "TypeVar", "cast", "getattr", "TypeError",
     "happened", "Literal", "isinstance", "pop", "setdefault", "line_count")
)  # fmt: skip
_MAKES_SENTENCES = frozenset(
    ("WrongInput", "NeedsAnswer", "NotFound", "NotAllowed", "ForgedForm", "TooManyTries", "Busy",
     "AlreadySent", "Reason", "Flag", "Problem")
)  # fmt: skip
_MORE = (
    ("made", "{share} × its sisters"), ("made", "{number} years"), ("made", "{share}% of rated"),
    ("made", "{share}% of rated cycles"), ("", "inspection"), ("", "age"), ("", "water"),
    ("", "registered"), ("", "roller stand"), ("", "married"),
    ("made", "truck {single}"), ("made", "charger {single}"), ("made", "on {charger}"),
    ("", "battery"), ("", "truck"), ("", "charger"), ("", "lifting gear"), ("", "room equipment"),
    ("", "beam"), ("", "hoist"), ("", "stand"), ("", "retired"), ("", "ready"), ("", "yes"),
    ("", "no"), ("", "unknown"), ("", "can't be read"), ("", "weight"), ("", "light"),
    ("", "heavy"), ("", "more"), ("", "less"), ("", "scale weight"), ("", "lug spacing"),
    ("", "safety"), ("", "ordinary"), ("", "it"), ("", "an inspection"), ("", "European"),
    ("", "US"), ("", "gauge"), ("", "charger's Ah"), ("", "gravity"),
    ("", "person"), ("", "changes"), ("", "waterings"), ("", "rounds"), ("", "STOP"),
    ("", "place not known"), ("", "Trucks"), ("made", "found {before}"),
    ("made", "watered {tags} with {litres} l, found {before}"),
    ("made", "watered {tags} with {litres} l"), ("made", "repaired {tags}: {what}, cell {cells}"),
    ("made", "repaired {tags}: {what}, cell {cells} ({said})"),
    ("made", "shifts {hours}, every day"),
    ("made", "European practice {europe} m³/h, US practice {us} m³/h: {governs}"),
    ("", "cleanings"), ("", "waiting"), ("", "writing"), ("made", "{rows} rows of {cells}"),
    ("made", "there is no label template “{name}”"), ("made", "Use a .toml file or one of: {names}"),
    # Of the server's own camera.
    ("", "there is no such file or folder"), ("", "the stream does not answer"),
    ("", "the video is damaged or of a kind that can't be read"), ("", "Check the network"),
    ("", "Play it in another program; save it again as MP4 if it plays"), ("", "Check its cable"),
    ("", "Check the address, the camera's user name and password, and the network"),
    ("made", "camera {index} can't be opened"), ("made", "{name} gives no pictures"),
    ("made", "Check that it is plugged in and that no other program uses it, or try another "
     "number (--camera {other})"), ("made", "{name} stopped after {index} pictures"),
    ("made", "camera {index}"),
)  # fmt: skip


@dataclass(frozen=True, order=True)
class Sentence:
    """One entry that a catalogue needs; ``plural`` only for counted ones."""

    context: str
    text: str
    plural: str = ""
    source: str = ""


@cache
def sentences() -> tuple[Sentence, ...]:
    """All of them, each once."""
    found: dict[tuple[str, str], Sentence] = {}
    for one in (*_on_pages(), *_on_reports(), *_in_tables(), *_made()):
        found.setdefault((one.context, one.text), one)
    return tuple(found.values())


def spanish() -> Catalog:
    """The Spanish catalogue, as the app reads it."""
    return catalogue("es")


def lacking(catalogue: Catalog) -> list[Sentence]:
    """The sentences without a translation."""
    return [one for one in sentences() if not _has(catalogue, one)]


def idle(catalogue: Catalog) -> list[str]:
    """Entries of the catalogue that no source says."""
    said = {(one.context or None, one.text) for one in sentences()}
    listed = ((m.context, m.id if isinstance(m.id, str) else m.id[0]) for m in catalogue if m.id)
    return [text for context, text in listed if (context, text) not in said]


def _has(catalogue: Catalog, one: Sentence) -> bool:
    message = catalogue.get(one.text, one.context or None)
    if message is None or message.fuzzy:
        return False
    said = message.string
    return all(said) if isinstance(said, tuple) else bool(said)


def _on_pages() -> Iterator[Sentence]:
    keywords = {"_": None, "words": None, "gettext": None, "ngettext": (1, 2)}
    methods = [("**.html", "jinja2"), ("**.py", "python")]
    options = {"**.html": {"newstyle_gettext": "true"}}
    for name, _, text, _, _ in extract_from_dir(TAGKIT / "web", methods, options, keywords):
        if isinstance(text, tuple):
            yield Sentence("", text[0], text[1], f"web/{name}")
        elif text:
            yield Sentence("", text, "", f"web/{name}")


def _on_reports() -> Iterator[Sentence]:
    """What reports and charts say by ``words("…")``, within other texts too."""
    for path in sorted((TAGKIT / "jobs").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or _called(node) not in ("words", "spoken", "reader"):
                continue
            first = node.args[0] if node.args else None
            if isinstance(first, ast.Constant) and isinstance(first.value, str):
                yield Sentence("", first.value, "", f"jobs/{path.name}")


def _in_tables() -> Iterator[Sentence]:
    def plain(texts: Iterable[str], source: str) -> Iterator[Sentence]:
        return (Sentence("", text, "", source) for text in texts if re.search(r"[a-zA-Z]{2}", text))

    yield from plain(ENGLISH.values(), "station/words.py")
    yield from plain((kind.noun for kind in Kind), "assets/tag.py")
    for plate in PLATES.values():
        for spec in fields_of(plate).values():
            yield from plain((spec.label, *map(str, spec.choices.values())), "assets")
            if spec.label == "equipment":
                yield from plain(map(str, spec.choices), "assets")
    yield from plain((source.value for source in Source), "assets/stated.py")
    yield from plain((*states.ROLES, *states.LABEL_ROLES, *SEVERITIES), "web/views/states.py")
    yield from plain(
        (*DUE_TITLES.values(), "overdue", "due", "never done", "soon"), "jobs/telling.py"
    )
    yield from plain(ROLES, "jobs/people.py")
    yield from plain(DONE_NAMES.values(), "jobs/month.py")
    yield from plain(("runs", "runs out soon", "run out"), "jobs/people_report.py")
    yield from plain(CHARGE_KINDS, "jobs/charge.py")
    yield from plain((title["en"] for title in TITLES.values()), "jobs/step_words.py")
    yield from plain((NOTE,), "jobs/steps.py")
    yield from plain(
        (*EXTENTS, *INCIDENTS, *INSPECTIONS, *LEVELS, *REPAIRS, *VOLTAGE_TAKEN),
        "record/care_bodies.py",
    )
    for act in ACTS:
        yield from plain((act.title, act.press, act.caution), "web/views/care_acts.py")
    for path in sorted((ROOT / "label_templates").glob("*.toml")):
        if about := re.search(r'^description = "(.*)"$', path.read_text(encoding="utf-8"), re.M):
            yield Sentence("", about[1], "", f"label_templates/{path.name}")
    for context, text in _MORE:
        yield Sentence(context, text, "", "tests/web/catalogue.py")


def _made() -> Iterator[Sentence]:
    found = {path for names in MADE_IN for path in TAGKIT.glob(names)}
    for path in sorted(found):
        name = path.relative_to(TAGKIT).as_posix()
        if name in NOT_ON_PAGES:
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for text in _texts(tree, False):
            said = " ".join(text.split())
            if re.search(r"[A-Za-z]{2}", re.sub(r"\{\w+\}", "", said)) and not (
                said in _HEADERS_READ or NEVER_SHOWN.search(said)
            ):
                yield Sentence("made" if "{" in said else "", said, "", name)


def _texts(node: ast.AST, inside: bool) -> Iterator[str]:
    """String literals that can be shown; ``inside`` one that is, single words count too."""
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return
    if isinstance(node, ast.Raise) and _bug(node.exc):
        return
    if isinstance(node, ast.Call):
        name = _called(node)
        if name in _CALLS_NOT_SHOWN or name in ("_", "words", "spoken", "reader", "_key"):
            return
        if name in _MAKES_SENTENCES:
            inside = name != "Flag"
    if isinstance(node, (ast.Subscript,)):
        yield from _texts(node.value, inside)
        return
    if isinstance(node, ast.Compare):
        return
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        if " " in node.value.strip() or (inside and node.value.islower()):
            yield node.value
        return
    if isinstance(node, ast.JoinedStr):
        names: list[str] = []
        yield "".join(
            part.value if isinstance(part, ast.Constant) else _gap(part.value, names)
            for part in node.values
            if isinstance(part, (ast.Constant, ast.FormattedValue))
        )
        for part in node.values:
            if isinstance(part, ast.FormattedValue):
                yield from _texts(part.value, True)
        return
    for child in ast.iter_child_nodes(node):
        yield from _texts(child, inside)


def _bug(raised: ast.expr | None) -> bool:
    bugs = ("TypeError", "ValueError", "AssertionError")
    return isinstance(raised, ast.Call) and _called(raised) in bugs


def _called(node: ast.Call) -> str:
    return getattr(node.func, "id", getattr(node.func, "attr", ""))


def _gap(node: ast.expr, names: list[str]) -> str:
    """A gap named after what fills it, each name once in a sentence."""
    while True:
        if isinstance(node, ast.Call):
            joined = isinstance(node.func, ast.Attribute) and node.args and _called(node) == "join"
            node = node.args[0] if joined else node.func
        elif isinstance(node, ast.Subscript):
            key = node.slice
            if isinstance(key, ast.Constant) and isinstance(key.value, str):
                node = ast.Name(key.value)
            else:
                node = node.value
        elif isinstance(node, (ast.Name, ast.Attribute)):
            name = getattr(node, "id", getattr(node, "attr", "it")).strip("_")
            break
        else:
            inner = next(
                (n for n in ast.walk(node) if isinstance(n, (ast.Name, ast.Attribute))), None
            )
            name = getattr(inner, "id", getattr(inner, "attr", "it")).strip("_") if inner else "it"
            break
    base, count = name, 2
    while name in names:
        name, count = f"{base}_{count}", count + 1
    names.append(name)
    return f"{{{name}}}"


def renewed(known: Catalog) -> Catalog:
    """The catalogue with an empty entry for each sentence it lacks, without the idle ones."""
    made = Catalog(locale="es", project="tagkit", charset="utf-8", fuzzy=False)
    made.header_comment = known.header_comment
    # Babel knows a third Spanish plural, for millions; we have two.
    made._num_plurals, made._plural_expr = known.num_plurals, known.plural_expr
    for one in sorted(sentences(), key=lambda one: one.source):
        said = known.get(one.text, one.context or None)
        made.add(
            (one.text, one.plural) if one.plural else one.text,
            said.string if said else None,
            context=one.context or None,
            locations=[(one.source, 0)],
        )
    return made


def write(catalogue: Catalog) -> None:
    """Onto the disk, without the dates that would make every writing differ."""
    text = io.BytesIO()
    write_po(text, catalogue, width=100, include_lineno=False)
    dated = re.compile(
        r'^"(POT-Creation-Date|PO-Revision-Date|Last-Translator|Language-Team|'
        r'Report-Msgid-Bugs-To|Generated-By).*\n', re.M,
    )  # fmt: skip
    SPANISH.write_text(dated.sub("", text.getvalue().decode()), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    if "--renew" in sys.argv:
        write(renewed(spanish()))
    for one in lacking(spanish()):
        print(f"{one.source}: {one.context or 'plain'}: {one.text}")
    for text in idle(spanish()):
        print(f"said nowhere: {text}")
