"""How far long work has come: a bar on a terminal, silence elsewhere."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from tagkit.cli.show import on_terminal


def _silent(_what: str, _done: int, _total: int) -> None:
    """Progress that nobody watches."""


@contextmanager
def progress(as_json: bool) -> Iterator[Callable[[str, int, int], None]]:
    """A progress bar on a terminal; silence elsewhere."""
    if as_json or not on_terminal():
        yield _silent
        return
    from rich.progress import Progress

    with Progress(transient=True) as bar:
        tasks: dict[str, Any] = {}

        def step(what: str, done: int, total: int) -> None:
            if what not in tasks:
                tasks[what] = bar.add_task(what, total=total)
            bar.update(tasks[what], completed=done, total=total)

        yield step
