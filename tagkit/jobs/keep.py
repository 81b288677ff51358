"""Keeping the record: checking it, copying it, bringing it back."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC
from pathlib import Path
from typing import Any

from tagkit.errors import WrongInput
from tagkit.jobs.site import SETTINGS_FILE, Site, open_site, read_settings, write_settings
from tagkit.settings import Settings
from tagkit.site_toml import settings_text


@dataclass(frozen=True)
class VerifyReport:
    """What a check found. ``heads`` are the ends of the chains, to be kept elsewhere."""

    events: int
    findings: tuple[str, ...]
    notices: tuple[str, ...]
    heads: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit verify --json`` prints it."""
        return {
            "events": self.events,
            "findings": list(self.findings),
            "notices": list(self.notices),
            "heads": list(self.heads),
        }


def check_record(
    directory: Path,
    known: list[str],
    progress: Callable[[int, int], None] | None = None,
    through: str | None = None,
) -> VerifyReport:
    """Check the record in ``directory`` against itself and against heads kept elsewhere.

    ``known``: heads as this check or a report printed them, or names of files that hold them:
    texts, and reports as PDF, CSV, XLSX or JSON; ``through``: the exchange that has seen this site's heads.
    """
    from tagkit.record.printed_heads import read_printed
    from tagkit.record.record import Record
    from tagkit.record.verify import read_heads, verify

    read_settings(directory)
    heads, printed = [], []
    if through:
        from tagkit.jobs.exchange import known_heads

        with open_site(directory) as site:
            heads += read_heads("\n".join(known_heads(site, through)))
    for entry in known:
        is_file = len(entry) < 200 and Path(entry).is_file()
        text = _text_of(Path(entry)) if is_file else entry
        whole, begun = read_heads(text), read_printed(text)
        if not whole and not begun:
            raise WrongInput(
                f"“{entry}” holds no head",
                "Give it as “tagkit verify” or a report printed it, like desk:417:7d35c9052c23c1d5, "
                "or a file that holds such lines",
                "--head",
            )
        heads += whole
        printed += begun
    findings = verify(directory, heads, progress, printed)
    grave = tuple(str(finding) for finding in findings if finding.grave)
    notices = tuple(str(finding) for finding in findings if not finding.grave)
    if any(finding.kind == "damaged" for finding in findings):
        return VerifyReport(0, grave, notices, ())
    with Record.open(directory) as record:
        ends = record.heads()
    return VerifyReport(
        sum(head.sequence for head in ends), grave, notices, tuple(str(head) for head in ends)
    )


def _text_of(path: Path) -> str:
    """All words of a file: a text, or a report as it was written."""
    data = path.read_bytes()
    if data.startswith(b"%PDF-"):
        from pypdfium2 import PdfDocument, PdfiumError

        try:
            pages = PdfDocument(data)
            return "\n".join(page.get_textpage().get_text_range() for page in pages)
        except PdfiumError as error:
            raise WrongInput(f"the PDF can't be read ({error})", "", str(path)) from None
    if data.startswith(b"PK\x03\x04"):
        from tagkit.intake.workbook import read_workbook

        grids = read_workbook(data, path.name)
        rows = (" ".join(cell.shown for cell in row.cells) for grid in grids for row in grid.rows)
        return "\n".join(rows)
    return data.decode("utf-8", errors="replace")


@dataclass(frozen=True)
class RebuildReport:
    """What folding everything again found otherwise than it should be."""

    events: int
    assets: int
    differences: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit record rebuild --json`` prints it."""
        return {
            "events": self.events,
            "assets": self.assets,
            "differences": list(self.differences),
        }


def rebuild_record(
    directory: Path, progress: Callable[[int, int], None] = lambda *_: None
) -> RebuildReport:
    """Fold every state again from the events, and mend what is kept beside them."""
    from tagkit.record.record import Record

    read_settings(directory)
    with Record.open(directory) as record:
        differences = record.rebuild(progress)
        assets = sum(1 for _ in record.states())
        events = sum(head.sequence for head in record.heads())
    return RebuildReport(events, assets, tuple(differences))


@dataclass(frozen=True)
class BackedUp:
    """A backup that was made and checked."""

    file: Path
    events: int
    removed: tuple[Path, ...] = ()
    """Older ones that were removed, as --keep asks."""


def back_up(
    site: Site,
    file: Path,
    force: bool = False,
    *,
    keep: int | None = None,
    password: str | None = None,
) -> BackedUp:
    """Copy the record and its settings into ``file`` while it is in use.

    ``keep``: the date is put into the name, and only so many of these files are left; an older
    one goes only when the new one is there and was read back.
    """
    from tagkit.record.backup import backup

    settings = (site.directory / SETTINGS_FILE).read_text(encoding="utf-8-sig")
    target = file
    if keep is not None:
        now = site.now().astimezone(UTC)
        target = file.with_name(f"{file.stem}-{now:%Y%m%d-%H%M%S}{file.suffix}")
    backup(site.record, target, force=force, settings=settings, password=password)
    if site.record.bar is None:
        now = site.now().astimezone(UTC)
        with site.record.noting() as notes:
            notes.keep_fact("backed_up_at", now.isoformat(timespec="seconds"))
    removed = []
    if keep is not None:
        pattern = re.compile(rf"{re.escape(file.stem)}-\d{{8}}-\d{{6}}{re.escape(file.suffix)}")
        dated = sorted(one for one in file.parent.iterdir() if pattern.fullmatch(one.name))
        for old in dated[: -max(keep, 1)]:
            if old != target:
                old.unlink()
                removed.append(old)
    events = sum(head.sequence for head in site.record.heads())
    return BackedUp(target, events, tuple(removed))


@dataclass(frozen=True)
class Restored:
    """What came back. ``settings``: backup, folder (one was there already), defaults. ``held``:
    what is out of service by the record, whose cards may have to be printed again."""

    events: int
    until: str | None
    settings: str
    held: tuple[str, ...] = ()


def restore_site(file: Path, directory: Path, password: str | None = None) -> Restored:
    """A site from a backup, in a new or an empty folder, beginning a new epoch.

    Its settings come from the backup, unless a site.toml is there already; a backup of an older
    tagkit has none, and one with the defaults is written. They are there before the record is.
    """
    from tagkit.record.backup import restore

    came_from = ["folder"]

    def prepare(code: str, text: str | None) -> None:
        if (directory / SETTINGS_FILE).exists():
            return
        came_from[0] = "backup" if text is not None else "defaults"
        defaults = replace(Settings(), site=replace(Settings().site, code=code))
        write_settings(directory, settings_text(defaults) if text is None else text)

    with restore(file, directory, password=password, prepare=prepare) as record:
        events = sum(head.sequence for head in record.heads())
        states = list(record.states())
    latest = max((state.last_event_at or "" for state in states), default="")
    held = tuple(state.tag for state in states if state.held and not state.retired_at)
    return Restored(events, latest or None, came_from[0], held)
