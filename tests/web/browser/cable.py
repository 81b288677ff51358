"""A network cable between a browser and the site, which a test can cut without a word to either,
or make slow."""

from __future__ import annotations

import contextlib
import selectors
import socket
import threading
import time
from collections import deque


class Cable:
    """Passes on what comes to a port of its own; while it is cut nothing passes, silently.

    ``slow``: seconds that what the site says is on its way.
    """

    def __init__(self, port: int) -> None:
        self._to = port
        self.slow = 0.0
        self._cut = threading.Event()
        self._pairs: set[tuple[socket.socket, socket.socket]] = set()
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.address = f"http://127.0.0.1:{self._listening.getsockname()[1]}"
        threading.Thread(target=self._accept, daemon=True).start()

    def cut(self) -> None:
        self._cut.set()

    def mend(self) -> None:
        """Whatever was on its way when it was cut is lost."""
        self._cut.clear()
        for pair in tuple(self._pairs):
            self._close(pair)

    def end(self) -> None:
        self._listening.close()
        self.mend()

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                near, _ = self._listening.accept()
                far = socket.create_connection(("127.0.0.1", self._to))
                pair = (near, far)
                self._pairs.add(pair)
                threading.Thread(target=self._pass_on, args=(pair,), daemon=True).start()

    def _pass_on(self, pair: tuple[socket.socket, socket.socket]) -> None:
        other = {pair[0]: pair[1], pair[1]: pair[0]}
        with selectors.DefaultSelector() as ready, contextlib.suppress(OSError, ValueError):
            for end in pair:
                ready.register(end, selectors.EVENT_READ)
            on_its_way: deque[tuple[float, bytes]] = deque()
            while True:
                for key, _ in ready.select(0.02 if on_its_way else 0.2):
                    end: socket.socket = key.fileobj  # type: ignore[assignment]
                    data = end.recv(1 << 16)
                    if not data:
                        raise OSError
                    if self._cut.is_set():
                        continue
                    if end is pair[1]:
                        on_its_way.append((time.monotonic() + self.slow, data))
                    else:
                        other[end].sendall(data)
                while on_its_way and on_its_way[0][0] <= time.monotonic():
                    pair[0].sendall(on_its_way.popleft()[1])
        self._close(pair)

    def _close(self, pair: tuple[socket.socket, socket.socket]) -> None:
        self._pairs.discard(pair)
        for end in pair:
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()
