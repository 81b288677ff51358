"""Work that takes longer than a page should: printed files, made one after another, with progress.

What is made lies in the site's folder, so that it can be fetched again after a restart; how far
a run is, is known only while the server runs.
"""

from __future__ import annotations

import re
import secrets
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

from tagkit.errors import NotFound, TagkitError
from tagkit.jobs.printing import Progress
from tagkit.jobs.site import Site
from tagkit.web.door import SiteDoor

FOLDER = "prints"
KEPT_FILES = 100
KEPT_RUNS = 200
_FILE = re.compile(r"[a-z0-9-]{1,80}\.(pdf|svg|png)")

Act = Callable[[Site, Path, Progress], None]
"""Makes the file at the path it is given, or raises."""


@dataclass(frozen=True)
class Run:
    """How far it is; ``file`` is its name once it is made, ``problem`` why it was not."""

    id: str
    title: str
    step: str = "waiting"
    done: int = 0
    total: int = 0
    file: str = ""
    problem: str = ""
    remedy: str = ""

    @property
    def over(self) -> bool:
        """Whether there is nothing to wait for."""
        return bool(self.file or self.problem)


class Runs:
    """The runs of one server. Printing proves every label, so that one at a time is enough."""

    def __init__(self, door: SiteDoor) -> None:
        self._door = door
        self._folder = door.directory / FOLDER
        self._known: OrderedDict[str, Run] = OrderedDict()
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="prints")

    def start(self, title: str, stem: str, ending: str, act: Act) -> Run:
        """Begin to make a file called after ``stem``; it is waited for on the run's page."""
        run = Run(secrets.token_hex(8), title)
        self._note(run)
        when = f"{self._door.clock():%Y%m%d-%H%M%S}"
        name = f"{stem}-{when}-{run.id[:4]}.{ending}"
        self._pool.submit(self._make, run.id, name, act)
        return run

    def run(self, identity: str) -> Run:
        """NotFound once the server was started anew."""
        try:
            return self._known[identity]
        except KeyError:
            raise NotFound("there is no such run", "Print again, or fetch the file") from None

    def file(self, name: str) -> Path:
        """What was made; NotFound when it is there no more."""
        path = self._folder / name
        if not _FILE.fullmatch(name) or not path.is_file():
            raise NotFound("there is no such file any more", "Print it again")
        return path

    def close(self) -> None:
        """End after the file that is being made."""
        self._pool.shutdown(cancel_futures=True)

    def _make(self, identity: str, name: str, act: Act) -> None:
        def progress(step: str, done: int, total: int) -> None:
            self._note(replace(self._known[identity], step=step, done=done, total=total))

        try:
            with self._door.borrow() as site:
                site.record.check_writable()
                self._folder.mkdir(exist_ok=True)
                act(site, self._folder / name, progress)
            self._note(replace(self._known[identity], file=name))
            self._tidy()
        except TagkitError as error:
            told = replace(self._known[identity], problem=error.problem, remedy=error.remedy)
            self._note(told)
        except Exception:
            again = "Try again; if it stays so, tell whoever looks after the server"
            told = replace(
                self._known[identity], problem="something went wrong in tagkit", remedy=again
            )
            self._note(told)
            raise

    def _note(self, run: Run) -> None:
        self._known[run.id] = run
        while len(self._known) > KEPT_RUNS:
            self._known.popitem(last=False)

    def _tidy(self) -> None:
        files = sorted(self._folder.glob("*.*"), key=lambda path: path.stat().st_mtime)
        for path in files[:-KEPT_FILES]:
            path.unlink(missing_ok=True)
