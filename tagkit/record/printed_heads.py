"""Heads as reports print them: station, sequence and the beginning of the hash.

A report that hangs on a wall or lies in somebody's folder is a witness: the record it was made
from must still hold that event. Sixteen hexadecimal digits (64 bits) are short enough to be
keyed in, and too many for an event to be made that begins with them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from tagkit.record.chain_check import ChainCheck, Parts
from tagkit.record.queries import Head

DIGITS = 16
LEAST_DIGITS = 12
_STATION = r"[A-Za-z0-9._-]{1,32}"
_HASH = rf"[0-9a-fA-F]{{{LEAST_DIGITS},63}}"
# Within a text the parts are joined; apart from each other only where they are a whole line.
_IN_TEXT = re.compile(rf"(?<![\w.:-])({_STATION}):(\d{{1,15}}):({_HASH})(?![\w-])")
_MARKS = re.compile(r"[^A-Za-z0-9._-]")
_LINE = re.compile(rf"^\s*({_STATION})\s+(\d{{1,15}})\s+({_HASH})\s*$", re.MULTILINE)


@dataclass(frozen=True)
class PrintedHead:
    """``station``: its name, with _ for blanks and marks; ``begins``: the first digits of the
    hash of that station's event with this sequence."""

    station: str
    sequence: int
    begins: str

    def __str__(self) -> str:
        return f"{self.station}:{self.sequence}:{self.begins}"


def heads_to_print(heads: Iterable[Head], site: str) -> list[PrintedHead]:
    """The ends of a site's own chains, the longest first.

    Those of other sites are here in part only; their own reports tell of them.
    """
    own = sorted(
        (head for head in heads if head.site == site), key=lambda head: (-head.sequence, head.epoch)
    )
    return [PrintedHead(_plain(head.station), head.sequence, head.hash[:DIGITS]) for head in own]


def read_printed(text: str) -> list[PrintedHead]:
    """Every head that a text holds, as reports print it (``desk:37610:7d35c9052c23c1d5``) or
    as a line of its three parts."""
    found = [*_IN_TEXT.findall(text), *_LINE.findall(text)]
    read = (PrintedHead(name, int(number), begins.lower()) for name, number, begins in found)
    return list(dict.fromkeys(read))


def sequences_of(printed: Iterable[PrintedHead], station: str) -> set[int]:
    """The sequences whose hashes are asked for in a station's chains."""
    return {one.sequence for one in printed if one.station == _plain(station)}


def against_printed(
    checks: Mapping[str, ChainCheck], printed: Iterable[PrintedHead], site: str
) -> list[Parts]:
    """What of the printed heads of a site its record does not hold any more.

    A station that began anew has several chains; one of them must hold the event.
    """
    findings: list[Parts] = []
    for head in printed:
        chains = [
            one
            for one in checks.values()
            if (one.site, _plain(one.station)) == (site, head.station)
        ]
        hashes = [one.hashes[head.sequence] for one in chains if head.sequence in one.hashes]
        where = f"station “{head.station}”, event {head.sequence}"
        if any(one.startswith(head.begins) for one in hashes):
            continue
        if hashes:
            text = "this event is another one than the one that was printed"
            findings.append(("rewritten", where, text))
        elif chains:
            last = max(one.last for one in chains)
            text = f"it was printed, and is not in the record any more, which ends at {last}"
            findings.append(("cut off", where, text))
        else:
            text = "it was printed, and the record has no chain of this station"
            findings.append(("cut off", where, text))
    return findings


def _plain(station: str) -> str:
    """The name as one word, so that it is found again in any text."""
    return _MARKS.sub("_", station)[:32]
