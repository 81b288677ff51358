"""All stations of the server: their conversations, the one reader, the server's own camera."""

from __future__ import annotations

import threading

from fastapi import FastAPI

from tagkit.assets.tag import Tag
from tagkit.web.booth.booth import Booth
from tagkit.web.booth.own_camera import OwnCamera
from tagkit.web.eye import Eye
from tagkit.web.options import ServeOptions


class Floor:
    """Made with the app; nothing runs until somebody looks."""

    def __init__(self, options: ServeOptions) -> None:
        self.eye = Eye()
        self.camera = OwnCamera(options.camera) if options.camera is not None else None
        self._booths: dict[str, Booth] = {}
        self._lock = threading.Lock()

    def booth(self, station: str) -> Booth:
        """The station of this name."""
        with self._lock:
            return self._booths.setdefault(station, Booth(station))

    def waiting_trucks(self) -> list[tuple[Tag, str]]:
        """Trucks that stand at a station, by the station's name."""
        with self._lock:
            booths = sorted(self._booths.values(), key=lambda booth: booth.name)
        return [(booth.waiting_truck, booth.name) for booth in booths if booth.waiting_truck]

    def close(self) -> None:
        """End the reader and the camera."""
        self.eye.close()
        if self.camera is not None:
            self.camera.close()


def floor_of(app: FastAPI) -> Floor:
    """The stations that this app serves."""
    floor: Floor = app.state.floor
    return floor
