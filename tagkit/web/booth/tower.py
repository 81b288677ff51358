"""The light tower: a command of the site's, run with each new answer."""

from __future__ import annotations

import logging
import shlex
import subprocess
import threading

log = logging.getLogger(__name__)

_PATIENCE = 5.0


class LightTower:
    """Runs the command in the background, for the latest answer only; never holds anything up."""

    def __init__(self) -> None:
        self._wanted: tuple[str, ...] | None = None
        self._shown: tuple[str, ...] | None = None
        self._lock = threading.Lock()
        self._running = False

    def show(self, command: str, posture: str, station: str) -> None:
        """Light up for ``posture`` (go, stop, ask, wait, done). An empty command: no tower."""
        if not command.strip():
            return
        with self._lock:
            self._wanted = (command, posture, station)
            if self._running or self._wanted == self._shown:
                return
            self._running = True
        threading.Thread(target=self._run, name="light tower", daemon=True).start()

    def _run(self) -> None:
        while True:
            with self._lock:
                if self._wanted is None or self._wanted == self._shown:
                    self._running = False
                    return
                command, posture, station = self._shown = self._wanted
            try:
                # The command is the site's own, from site.toml; no shell reads it.
                subprocess.run(
                    [*shlex.split(command), posture, station],
                    timeout=_PATIENCE,
                    check=True,
                    stdin=subprocess.DEVNULL,
                    capture_output=True,
                )
            except (OSError, ValueError, subprocess.SubprocessError) as error:
                log.warning("the light tower did not show %s: %s", posture, error)
