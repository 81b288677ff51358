"""A report as a file: PDF for people, tables as CSV and XLSX, JSON for programs.

People read it in their language; JSON keeps its English names, so that programs need no other.
Every report says up to where the record went when it was made.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from tagkit.errors import WrongInput
from tagkit.jobs.site import Site
from tagkit.jobs.tables import Table, write_tables
from tagkit.language.catalogue import LANGUAGES
from tagkit.language.words import Words
from tagkit.record.printed_heads import heads_to_print

REPORT_FORMS = (".pdf", ".csv", ".xlsx", ".json")


def words_of(site: Site, language: str | None = None) -> Words:
    """How a report speaks: in ``language``, else the site's; figures and times as at the site."""
    spoken = language or site.settings.site.language
    if spoken not in LANGUAGES:
        raise WrongInput(
            f"reports do not speak “{spoken}”", f"Take one of: {', '.join(LANGUAGES)}", "--language"
        )
    return Words(spoken, site.settings.site.units, site.timezone())


def check_report_file(out: Path) -> None:
    """WrongInput unless the name says one of the forms that reports are written in."""
    if out.suffix.lower() not in REPORT_FORMS:
        raise WrongInput(
            f"“{out.name}” says no form of file", f"End the name in {', '.join(REPORT_FORMS)}"
        )


def write_report(
    site: Site,
    words: Words,
    out: Path,
    *,
    paper: Callable[[Path], object],
    tables: Callable[[Words], Sequence[Table]],
    facts: Mapping[str, Any],
) -> None:
    """Writes the report in the form that the name of ``out`` says, whole or not at all."""
    check_report_file(out)
    form = out.suffix.lower()
    if form == ".pdf":
        paper(out)
        return
    spoken = replace(words, language="en") if form == ".json" else words
    heads = heads_to_print(site.record.heads(), site.record.site)
    held = Table(
        spoken("Record up to"),
        (spoken("station"), spoken("event"), spoken("hash begins"), spoken("to be checked with")),
        tuple((one.station, one.sequence, one.begins, f"{one}") for one in heads),
    )
    told = {**facts, "record_up_to": [str(one) for one in heads]}
    write_tables(out, [*tables(spoken), held], told)
