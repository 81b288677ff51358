"""The station in text: what the camera sees on one side, a few keys on the other.

Reading the keyboard blocks, so it has a thread of its own; the conversation itself runs in one.
"""

from __future__ import annotations

import io
import queue
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tagkit.cli.show import line, problem
from tagkit.jobs.camera import CameraWatch
from tagkit.jobs.change_steps import change_steps
from tagkit.jobs.conversation import Station, screen_of, shown, step
from tagkit.jobs.looking import looks
from tagkit.jobs.site import Site
from tagkit.station.change import begin
from tagkit.station.inputs import (
    Cancel,
    Characters,
    Foreign,
    Input,
    Release,
    Typed,
    Undo,
)

if TYPE_CHECKING:
    from tagkit.station.screen import Screen
    from tagkit.station.state import Change

A_GLANCE = 0.4
"""Seconds in which nobody reads a screen: a key that comes sooner bounced, or was meant for the
screen before."""

STYLES = {
    "go": "bold white on dark_green",
    "stop": "bold white on red",
    "ask": "bold black on yellow",
    "wait": "bold",
    "done": "bold",
}
MARKS = {"tick": "[OK]", "octagon": "[STOP]", "question": "[?]", "frame": "[ ]", "book": "[LOGGED]"}
HELP = (
    "Show labels to the camera, or type a number. Enter does the first thing offered, its figure "
    "another; u undo, x start again, r CODE REASON release by a supervisor, q quit."
)


@dataclass(frozen=True)
class Line:
    """A line that somebody typed, and when (monotonic clock, in seconds)."""

    text: str
    at: float

    def too_soon(self, shown_at: float) -> bool:
        """A single key, pressed before anybody can have read what was shown at that moment."""
        return len(self.text.strip()) <= 1 and self.at < shown_at + A_GLANCE


Keys = queue.Queue[Line | None]


def run_station(site: Site, source: str | int, *, by: str, name: str) -> None:
    """Run until q, the end of input, or Ctrl-C. Nothing is logged without a key pressed."""
    station = Station(site, name, by)
    keys: Keys = queue.Queue()
    threading.Thread(target=_listen, args=(keys,), daemon=True).start()
    change = begin(site.settings.station.finishing_steps(), site.settings.station.stand)
    line(HELP)
    screen = screen_of(station, change)
    last = _show(site, screen, None)
    shown_at, in_person = time.monotonic(), _on_keyboard()
    for given in _inputs(site, source, keys):
        if isinstance(given, Line) and in_person and given.too_soon(shown_at):
            line("  ! That key came before this screen could be read. Press again.")
            continue
        # A key is meant for what was shown, whatever has been recorded since.
        meant = _meaning(given.text, screen, change) if isinstance(given, Line) else given
        if meant is not None:
            change = step(station, change, meant)
        screen = screen_of(station, change)
        # Whoever typed something is answered, also when the answer is the same again.
        again = isinstance(given, Line) and screen.notice is not None
        now = _show(site, screen, None if again else last)
        if now != last:
            last, shown_at = now, time.monotonic()


def _on_keyboard() -> bool:
    """Whether a person presses the keys; a script may send them as fast as it likes."""
    return isinstance(sys.stdin, io.TextIOBase) and sys.stdin.isatty()


def _listen(keys: Keys) -> None:
    for text in sys.stdin:
        keys.put(Line(text.rstrip("\r\n"), time.monotonic()))
    keys.put(None)


def _inputs(site: Site, source: str | int, keys: Keys) -> Iterator[Input | Line]:
    """What comes in, in order: typed lines, and labels as they are shown. Ends with q."""
    watch = CameraWatch()
    for seen in looks(source, lambda told: problem(str(told)), site=site):
        if told := watch.trouble(seen):
            line(f"  ! {told}")
        for one in seen.foreign:
            yield Foreign(one.text)
        if seen.labels:
            yield shown(seen.labels)
        while not keys.empty():
            typed = keys.get()
            if typed is None or typed.text.strip().lower() == "q":
                return
            yield typed
    # The pictures have ended (a file or a lost camera); the keyboard goes on.
    while (typed := keys.get()) is not None and typed.text.strip().lower() != "q":
        yield typed


def _meaning(typed: str, screen: Screen, change: Change) -> Input | None:
    """What a typed line means on the screen that was shown; None for nothing."""
    text = typed.strip()
    offers = screen.offers
    if not text:
        return offers[0].gives if offers else None
    if text.isdigit() and len(text) == 1 and screen.asks != "characters":
        number = int(text)
        return offers[number - 1].gives if 1 <= number <= len(offers) else None
    if text.lower() == "u":
        return Undo()
    if text.lower() == "x":
        return Cancel()
    if screen.asks == "characters":
        return Characters(text)
    command, _, rest = text.partition(" ")
    if command.lower() == "r" and rest and change.battery is not None:
        code, _, reason = rest.strip().partition(" ")
        return Release(change.battery, code.upper(), reason, screen.token, screen.reasons)
    return Typed(text)


def _show(site: Site, screen: Screen, before: tuple[str, ...] | None) -> tuple[str, ...]:
    """Print the screen when it differs from the one before; returns what was shown."""
    lines = [f"{MARKS[screen.shape]} {screen.headline.text}"]
    lines += [f"  {entry.text}" for entry in screen.lines]
    if screen.notice:
        lines.append(f"  ! {screen.notice.text}")
    if screen.todo:
        lines.append(f"  {screen.todo.text}")
    if procedure := change_steps(site, screen):
        lines.append(f"  {procedure.title}:")
        lines += [f"    {number}. {step}" for number, step in enumerate(procedure.steps, start=1)]
    lines += [f"  caution: {entry.text}" for entry in screen.cautions]
    for number, offer in enumerate(screen.offers, start=1):
        lines.append(f"  {'Enter' if number == 1 else number}: {offer.label.text}")
    if screen.asks == "release":
        lines.append("  r CODE REASON: release by a supervisor")
    now = tuple(lines)
    if now != before:
        line()
        line(f" {time.strftime('%H:%M:%S')}  {now[0]} ", style=STYLES[screen.posture])
        for entry in now[1:]:
            line(entry, hang=4)
    return now
