"""Verifying a record: the chains, what is folded from them, and whether the file is a copy.

A chain shows by itself that an event was changed, removed, inserted or moved. That its tail
was cut off, or that all of it was written anew with the station's key, shows against a head
kept elsewhere: by a peer, on a printed report, or cited by another chain of the same record.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from tagkit.errors import TagkitError
from tagkit.record.chain_check import ChainCheck, Expected, check_chain
from tagkit.record.envelope import MalformedEvent, from_bytes
from tagkit.record.folder import states_are_current
from tagkit.record.journal import site_of
from tagkit.record.printed_heads import PrintedHead, against_printed, sequences_of
from tagkit.record.queries import Head
from tagkit.record.read_only import looked_into
from tagkit.record.state_check import check_index, check_serials, check_states
from tagkit.record.store import FILE_NAME, Connection, identity_of, sqlite_code
from tagkit.rules.times import readable_anywhere

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Finding:
    """One thing that verifying found."""

    kind: str
    """damaged, changed, removed, inserted, reordered, cut off, rewritten, broken link, index
    differs, state differs, copied; not grave: new epoch, not verified here."""
    where: str
    text: str
    grave: bool = True

    def __str__(self) -> str:
        return f"{self.kind}: {self.where}: {self.text}"


def read_heads(text: str) -> list[Head]:
    """The heads in lines as ``str(head)`` prints them; other lines are passed over."""
    found = []
    for line in text.splitlines():
        words = line.split()
        if len(words) >= 3 and words[-2].isdigit() and len(words[-1]) == 64:
            found.append(Head("", "", words[-3], int(words[-2]), words[-1]))
    return found


def verify(
    directory: Path,
    known_heads: Iterable[Head] | None = None,
    progress: Progress | None = None,
    printed: Iterable[PrintedHead] = (),
) -> list[Finding]:
    """What is wrong with the record in ``directory``; empty when nothing is.

    ``known_heads`` are heads kept elsewhere, ``printed`` those that reports show.
    ``progress`` is called with events done and in all. NotFound when there is no record.
    """
    path = directory / FILE_NAME
    findings: list[Finding] = []
    try:
        with looked_into(path) as connection:
            connection.execute("BEGIN")
            findings += [*_damage(connection), *_copy(path, connection)]
            findings += _contents(connection, list(known_heads or ()), list(printed), progress)
            return findings
    except TagkitError as error:
        if sqlite_code(error.__cause__) in (11, 26) if error.__cause__ else False:
            return [_destroyed(error.problem)]
        raise
    except Exception as error:
        if sqlite_code(error) in (11, 26):
            return [_destroyed(str(error))]
        if isinstance(error, _NOT_AS_WRITTEN):
            # A column holds what was never written into it: no reason to go on, but to tell.
            return [*findings, _destroyed(f"{type(error).__name__}: {error}")]
        raise


_NOT_AS_WRITTEN = (ValueError, TypeError, KeyError, AttributeError, OverflowError)


def _destroyed(problem: str) -> Finding:
    return Finding("damaged", FILE_NAME, f"the file can't be read through ({problem})")


def _damage(connection: Connection) -> list[Finding]:
    rows = connection.execute("PRAGMA integrity_check(20)").fetchall()
    strange = connection.execute(
        "SELECT type, name FROM sqlite_master WHERE type IN ('trigger', 'view')"
    ).fetchall()
    return [
        *(Finding("damaged", FILE_NAME, row[0]) for row in rows if row[0] != "ok"),
        *(Finding("put in", FILE_NAME, f"the {kind} {name!a} is none of tagkit's: somebody else "
                  "put it there, and it acts when the record is used") for kind, name in strange),
    ]  # fmt: skip


def _copy(path: Path, connection: Connection) -> list[Finding]:
    row = connection.execute("SELECT value FROM meta WHERE name = 'identity'").fetchone()
    if row and row[0] == identity_of(path):
        return []
    return [
        Finding(
            "copied",
            FILE_NAME,
            "this file is a copy of a record; when it is next written to it goes on under new "
            "keys, apart from the one it came from",
        )
    ]


def _contents(
    connection: Connection,
    known_heads: list[Head],
    printed: list[PrintedHead],
    progress: Progress | None,
) -> list[Finding]:
    total = connection.execute("SELECT count(*) FROM events").fetchone()[0]
    done = 0

    def step(count: int) -> None:
        nonlocal done
        done += count
        if progress:
            progress(min(done, total), total)

    findings: list[Finding] = []
    checks: dict[str, ChainCheck] = {}
    wanted: dict[str, set[int]] = {}
    # Heads handed in count whatever site they are of; those cited are judged by who cites them.
    given = [Head("", head.station, head.epoch, head.sequence, head.hash) for head in known_heads]
    known = [*given, *_cited_heads(connection), *_seen_by_others(connection)]
    for head in known:
        wanted.setdefault(head.epoch, set()).add(head.sequence)
    own_site = site_of(connection)
    followed = connection.execute("SELECT topic FROM followed").fetchall()
    expected = Expected(own_site, frozenset(topic for (topic,) in followed))
    chains = connection.execute(
        "SELECT chain, site, station, epoch, public_key, head_sequence, head_hash, whole "
        "FROM chains ORDER BY name"
    ).fetchall()
    for row in chains:
        asked = wanted.get(row[3], set()) | sequences_of(printed, row[2])
        check = check_chain(connection, row, asked, expected, step)
        checks[check.epoch] = check
        findings += [Finding(*parts) for parts in check.findings]
    findings += _against_heads(checks, known, own_site)
    findings += [Finding(*parts) for parts in against_printed(checks, printed, own_site)]
    findings += [Finding(*parts) for parts in check_index(connection, expected)]
    findings += [Finding(*parts) for parts in check_serials(connection, own_site)]
    if states_are_current(connection):
        findings += [Finding(*parts) for parts in check_states(connection)]
    else:
        text = "the states were folded by another version; the next opening folds them again"
        findings.append(Finding("not verified here", "states", text, grave=False))
    return findings + _epochs(connection)


def _cited_heads(connection: Connection) -> list[Head]:
    """The heads that chains cite when they begin."""
    found = []
    for (raw,) in connection.execute("SELECT raw FROM events WHERE sequence = 1").fetchall():
        with contextlib.suppress(MalformedEvent, KeyError, TypeError, ValueError):
            event = from_bytes(bytes(raw))
            for cite in event.body["cites"]:
                found.append(
                    Head(
                        event.site, str(cite["station"]), str(cite["epoch"]), int(cite["sequence"]),
                        str(cite["hash"]),
                    )
                )  # fmt: skip
    return found


def _seen_by_others(connection: Connection) -> list[Head]:
    """The ends of this site's own chains that the exchange has seen."""
    rows = connection.execute(
        "SELECT h.epoch, h.sequence, h.hash FROM exchange_heads h "
        "JOIN chains c ON c.epoch = h.epoch WHERE c.whole"
    ).fetchall()
    return [Head("", "", *row) for row in rows]


def _against_heads(
    checks: dict[str, ChainCheck], known: list[Head], own_site: str
) -> list[Finding]:
    """Compares with what is known of the chains elsewhere.

    That a chain of another site ends earlier than a third one knows is no cut: the rest may
    not have come yet.
    """
    findings = []
    needed: dict[str, int] = {}

    def need(by_site: str, epoch: str, sequence: int) -> None:
        of = checks.get(epoch)
        if own_site in (by_site, of.site if of else "") or not by_site:
            needed[epoch] = max(needed.get(epoch, 0), sequence)

    for check in checks.values():
        for epoch, sequence in check.mentioned.items():
            need(check.site, epoch, sequence)
    for head in known:
        need(head.site, head.epoch, head.sequence)
        found = checks.get(head.epoch)
        hash_here = found.hashes.get(head.sequence) if found else None
        if found and hash_here is not None and hash_here != head.hash:
            findings.append(
                Finding(
                    "rewritten",
                    f"{head.epoch}-{head.sequence}, station “{found.station}”",
                    "this event is another one than the one known elsewhere",
                )
            )
    for epoch, sequence in sorted(needed.items()):
        cut = checks.get(epoch)
        if cut and not cut.whole:
            continue  # what is not here may concern no asset of this site
        last = cut.last if cut else 0
        if sequence > last and (cut or any(head.epoch == epoch for head in known)):
            station = f", station “{cut.station}”" if cut else ""
            findings.append(
                Finding(
                    "cut off",
                    f"{epoch}{station}",
                    f"{sequence - last} event(s) after {epoch}-{last} are missing; "
                    f"{epoch}-{sequence} is known elsewhere",
                )
            )
    return list(dict.fromkeys(findings))


def _epochs(connection: Connection) -> list[Finding]:
    """Breaks in the record that were settled by a new epoch: worth knowing, nothing wrong."""
    findings = []
    rows = connection.execute(
        "SELECT raw FROM events WHERE sequence = 1 AND kind = 'epoch_started' ORDER BY n"
    ).fetchall()
    for (raw,) in rows:
        with contextlib.suppress(MalformedEvent):
            event = from_bytes(bytes(raw))
            if event.body.get("reason") not in ("new", None):
                findings.append(
                    Finding(
                        "new epoch",
                        f"{event.id}, station “{event.station}”",
                        f"began anew at {readable_anywhere(event.recorded_at)} "
                        f"({event.body['reason']})",
                        grave=False,
                    )
                )
    return findings
