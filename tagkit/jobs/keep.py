"""Keeping the record: checking it, copying it, bringing it back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tagkit.errors import WrongInput
from tagkit.jobs.site import SETTINGS_FILE, Site, read_settings
from tagkit.settings import Settings, settings_text


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
    directory: Path, known: list[str], progress: Callable[[int, int], None] | None = None
) -> VerifyReport:
    """Check the record in ``directory`` against itself and against heads kept elsewhere.

    ``known``: heads as an earlier report printed them, or names of files that hold such lines.
    """
    from tagkit.record.record import Record
    from tagkit.record.verify import read_heads, verify

    read_settings(directory)
    heads = []
    for entry in known:
        text = entry
        if len(entry) < 200 and Path(entry).is_file():
            text = Path(entry).read_text(encoding="utf-8", errors="replace")
        found = read_heads(text)
        if not found:
            raise WrongInput(
                f"“{entry}” holds no head",
                "Give a line as “tagkit verify” printed it, or a file with such lines",
                "--head",
            )
        heads += found
    findings = verify(directory, heads, progress)
    grave = tuple(str(finding) for finding in findings if finding.grave)
    notices = tuple(str(finding) for finding in findings if not finding.grave)
    if any(finding.kind == "damaged" for finding in findings):
        return VerifyReport(0, grave, notices, ())
    with Record.open(directory) as record:
        ends = record.heads()
    return VerifyReport(
        sum(head.sequence for head in ends), grave, notices, tuple(str(head) for head in ends)
    )


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


def back_up(site: Site, file: Path, force: bool = False) -> int:
    """Copy the record into ``file`` while it is in use; returns the number of events in it."""
    from tagkit.record.backup import backup

    backup(site.record, file, force=force)
    return sum(head.sequence for head in site.record.heads())


@dataclass(frozen=True)
class Restored:
    """What came back."""

    events: int
    until: str | None


def restore_site(file: Path, directory: Path) -> Restored:
    """A site from a backup, in a new or an empty folder, beginning a new epoch.

    Without a site.toml there, one with the defaults is written.
    """
    from tagkit.record.backup import restore

    with restore(file, directory) as record:
        events = sum(head.sequence for head in record.heads())
        latest = max((state.last_event_at or "" for state in record.states()), default="")
        settings = directory / SETTINGS_FILE
        if not settings.exists():
            site = replace(Settings(), site=replace(Settings().site, code=record.site))
            settings.write_text(settings_text(site), encoding="utf-8", newline="\n")
    return Restored(events, latest or None)
