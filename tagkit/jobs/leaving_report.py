"""The receipt of leaving: what goes with a retired asset to whoever takes it, and stays signed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from tagkit.assets.chemistry import CHEMISTRIES
from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.paper import MARGIN, Paper
from tagkit.jobs.report_file import check_report_file, words_of, write_report
from tagkit.jobs.site import Site
from tagkit.jobs.tables import Table
from tagkit.language.words import Words
from tagkit.record.state import AssetState

_GOODS = {
    "vented": "UN 2794, batteries, wet, filled with acid",
    "gel": "UN 2800, batteries, wet, non-spillable",
    "agm": "UN 2800, batteries, wet, non-spillable",
    "tppl": "UN 2800, batteries, wet, non-spillable",
    "lithium": "UN 3480, lithium-ion batteries",
}


@dataclass(frozen=True)
class Leaving:
    """A retired asset; what is not on record is None. ``papers``: of the transport."""

    state: AssetState
    at: datetime
    by: str
    reason: str
    receipt: str | None
    papers: str | None

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit report leaving --json`` prints it."""
        return {
            "asset": self.state.tag, "at": self.at.isoformat(), "by": self.by,
            "reason": self.reason, "receipt": self.receipt, "papers": self.papers,
        }  # fmt: skip


def leaving_of(site: Site, number: str) -> Leaving:
    """How the asset left; WrongInput while it has not."""
    state = asset(site.record, number)
    told = [
        event for event in site.record.timeline(state.tag)
        if event.kind == "retired" and event.known and not event.voided
    ]  # fmt: skip
    if not state.retired_at or not told:
        raise WrongInput(
            f"{state.tag} has not left the fleet", "Record it first, with “tagkit retire”"
        )
    first = min(told, key=lambda one: one.moment)

    def latest(name: str) -> str | None:
        given = [one for one in told if one.body[name]]
        return str(max(given, key=lambda one: one.moment).body[name]) if given else None

    return Leaving(
        state, first.happened, first.by, str(first.body["reason"]), latest("receipt"),
        latest("papers"),
    )  # fmt: skip


def report_leaving(site: Site, number: str, out: Path, words: Words | None = None) -> Leaving:
    """Writes the receipt: PDF, CSV, XLSX or JSON by the name of ``out``."""
    check_report_file(out)
    spoken = words or words_of(site)
    found = leaving_of(site, number)
    write_report(
        site, spoken, out,
        paper=lambda path: _paper(site, found, spoken, path),
        tables=lambda reader: [
            Table(reader("Leaving the fleet"), (reader("what"), reader("value")),
                  tuple(_rows(found, reader)))
        ],
        facts=found.to_json(),
    )  # fmt: skip
    return found


def _rows(found: Leaving, words: Words) -> list[tuple[str, str]]:
    state, unknown = found.state, words("not known")
    plate = state.nameplate
    kind = Kind(state.kind)

    def quantity(name: str) -> str:
        return words.figure(plate[name]) if plate.get(name) else unknown

    def text(name: str) -> str:
        return str(plate[name]["value"]) if plate.get(name) else unknown

    rows = [
        (words("number"), state.tag),
        (words("kind"), words(kind.noun)),
        (words("maker's serial"), state.maker_serial or unknown),
        (words("maker"), text("maker")),
    ]
    if kind is Kind.BATTERY:
        chemistry = plate.get("chemistry", {}).get("value")
        rows += [
            (words("chemistry"), words(CHEMISTRIES.get(chemistry, chemistry)) if chemistry
             else unknown),
            (words("voltage"), quantity("voltage")),
            (words("service weight"), quantity("weight")),
            (words("dangerous goods"), words(_GOODS.get(chemistry, "not known"))),
        ]  # fmt: skip
    return [
        *rows,
        (words("left the fleet"), f"{words.minute(found.at)}, {found.by}"),
        (words("reason"), found.reason),
        (words("recycler's receipt"), found.receipt or words("not on record yet")),
        (words("transport papers"), found.papers or words("not on record yet")),
    ]


def _paper(site: Site, found: Leaving, words: Words, out: Path) -> None:
    tag = found.state.tag
    paper = Paper(site, words, words("{tag} leaves the fleet", tag=tag))
    paper.head_of_asset(words("Receipt of leaving"), tag, site.now())
    battery = found.state.kind == Kind.BATTERY.value
    caution = words(
        "Secured against tipping and sliding, upright, posts covered, caps on; no flame or sparks. "
        "Lifted only with rated gear by trained people. The carrier confirms class, packing and "
        "papers by the rules of the transport; the recycler's and the maker's instructions decide."
    )
    paper.box(caution if battery else words(
        "Lifted only with rated gear by trained people. The maker's instructions decide."
    ))  # fmt: skip
    for title, value in _rows(found, words):
        paper.table((title, value), [], (30, 70), size=9.5)
    paper.y += 6
    for who in (
        words("Handed over by (name, signature)"), words("Received by (company, signature)"),
        words("Vehicle"), words("Receipt number"), words("Date, time"),
    ):  # fmt: skip
        paper.y += 7
        paper.text(who, 9)
        y = (paper.height - paper.y + 0.5) * 72 / 25.4
        left = (MARGIN + 70) * 72 / 25.4
        paper.canvas.setStrokeColor("#555555")
        paper.canvas.line(left, y, (paper.width - MARGIN) * 72 / 25.4, y)
    paper.y += 6
    paper.text(
        words("Keep the signed sheet with the fleet's papers, and enter the receipt: {command}",
              command=f"tagkit retire {tag} --receipt …"),
        8.5,
    )  # fmt: skip
    paper.save(out)
