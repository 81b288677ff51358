"""Printing: JSON for programs, plain lines for pipes, colour and tables for people."""

from __future__ import annotations

import io
import json
import os
import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any

from tagkit.errors import Exit, TagkitError

SCHEMA = 1
A_NUMBER = len("B-QM-00417-D")


def on_terminal() -> bool:
    """Whether standard output is a terminal that takes colour."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR")


class OutputLost(TagkitError):
    """Standard output takes nothing: what was to be told is not known to whoever asked."""

    exit_code = Exit.INTERRUPTED


def _write(text: str) -> None:
    try:
        sys.stdout.write(text + "\n")
        sys.stdout.flush()
    except BrokenPipeError:
        raise  # whoever read it has seen enough
    except OSError as error:
        sys.stdout = _nowhere()
        raise OutputLost(
            f"the output can't be written ({error.strerror}); what was asked may be done all the "
            "same",
            "Look it up before repeating it",
        ) from None


def _nowhere() -> io.TextIOWrapper:
    return Path(os.devnull).open("w", encoding="utf-8")


def any_console() -> None:
    """Characters that a console can't take become question marks instead of a crash.

    A program without a console (a service, a closed stream) prints into nothing.
    """
    sys.stdout, sys.stderr = sys.stdout or _nowhere(), sys.stderr or _nowhere()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


_NOTES: list[str] = []


def note_at_end(note: str | None) -> None:
    """What is to be said once, at the end of a command that did what it was asked: a line, or
    ``by_note`` of its JSON. None: nothing."""
    _NOTES[:] = [note] if note else []


def say_notes() -> None:
    """Says it, unless the JSON has done so."""
    for note in _NOTES:
        line(f"! {note}.", style="bold", hang=2)
    note_at_end(None)


def json_out(data: dict[str, Any]) -> None:
    """One JSON object with the schema's number; escaped where the output is not Unicode."""
    if _NOTES:
        data = {**data, "by_note": _NOTES.pop()}
    unicode = (sys.stdout.encoding or "").lower().replace("-", "").startswith("utf")
    text = json.dumps({"schema": SCHEMA, **data}, ensure_ascii=not unicode, default=str)
    # One object a line, also for readers to whom these end a line.
    for end in "\x85\u2028\u2029":
        text = text.replace(end, f"\\u{ord(end):04x}")
    _write(text)


def line(text: str = "", style: str = "", hang: int = 0) -> None:
    """One line; ``style`` is a rich style and used on a terminal only.

    A terminal too narrow for it gets it in several, between words, the later ones indented by
    ``hang`` characters; a pipe gets it whole.
    """
    if text and sys.stdout.isatty():
        text = _wrapped(text, hang)
    if style and on_terminal():
        from rich.console import Console

        Console(highlight=False).print(text, style=style, markup=False, soft_wrap=True)
        return
    _write(text)


def _wrapped(text: str, hang: int) -> str:
    width = shutil.get_terminal_size().columns
    if len(text) < width:
        return text
    # On a screen with no room beside the first column, the rest stands a little in instead.
    indent = " " * (hang if hang <= width // 2 else 6)
    return "\n".join(
        textwrap.wrap(
            text,
            width - 1,
            subsequent_indent=indent,
            break_on_hyphens=False,
            replace_whitespace=False,
            drop_whitespace=True,
        )
    )


def plural(count: int, noun: str) -> str:
    """“1 page”, “2 pages”."""
    return f"{count} {noun}{'' if count == 1 else 's'}"


def table(headers: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """A table: drawn on a terminal (without colour where NO_COLOR is set), tab-separated when
    piped."""
    if sys.stdout.isatty():
        from rich.console import Console
        from rich.table import Table
        from rich.text import Text

        drawn = Table(box=None, header_style="bold", pad_edge=False)
        for number, header in enumerate(headers):
            # The first column names the row and is never cut; nor is a number further on.
            drawn.add_column(
                header,
                no_wrap=number == 0,
                overflow="fold",
                min_width=A_NUMBER if number == 0 else None,
            )
        for row in rows:
            drawn.add_row(*(Text(cell) for cell in row))
        plain = Console(highlight=False, color_system=None)
        (Console(highlight=False) if on_terminal() else plain).print(drawn)
        return
    line("\t".join(headers))
    for row in rows:
        line("\t".join(" ".join(cell.split()) for cell in row))


def clock_time(moment: str | datetime | None, zone: tzinfo | None) -> str:
    """A stored or given moment in the site's zone, or “never”/“not known”."""
    if moment is None:
        return "not known"
    when = datetime.fromisoformat(moment) if isinstance(moment, str) else moment
    return when.astimezone(zone).strftime("%a %Y-%m-%d %H:%M")


def problem(text: str) -> None:
    """An error for a person, on standard error."""
    if sys.stderr.isatty() and not os.environ.get("NO_COLOR"):
        from rich.console import Console

        Console(stderr=True, highlight=False).print(
            f"tagkit: {text}", style="bold red", markup=False
        )
        return
    sys.stderr.write(f"tagkit: {text}\n")
    sys.stderr.flush()


def label_note(tag: str, says: Sequence[str]) -> None:
    """What a label that is stuck already still says otherwise than the record, if anything."""
    if says:
        line(
            f"! The label that sticks on it still says: {'; '.join(says)}. Print it anew: "
            f"tagkit labels {tag} --out label.pdf",
            style="bold",
            hang=2,
        )
