"""A line to a server that is cut after so many bytes."""

from __future__ import annotations

import contextlib
import socket
import threading


class CuttingProxy:
    """Passes bytes on to ``port`` of this computer; from ``cut_after`` bytes on it cuts, once.

    ``cut_after`` counts both directions; None: it does not cut.
    """

    def __init__(self, port: int, cut_after: int | None = None) -> None:
        self.target = port
        self.cut_after = cut_after
        self.passed = 0
        self.cuts = 0
        self._lock = threading.Lock()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self._open: list[socket.socket] = []
        self._threads: list[threading.Thread] = []
        self._accepting = threading.Thread(target=self._accept, daemon=True)
        self._accepting.start()

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                near, _ = self._listener.accept()
                far = socket.create_connection(("127.0.0.1", self.target))
                self._open += [near, far]
                for one, other in ((near, far), (far, near)):
                    passing = threading.Thread(target=self._pass, args=(one, other), daemon=True)
                    self._threads.append(passing)
                    passing.start()

    def _pass(self, one: socket.socket, other: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := one.recv(4096):
                with self._lock:
                    self.passed += len(data)
                    cut = self.cut_after is not None and self.passed > self.cut_after
                    if cut:
                        self.cut_after, self.cuts = None, self.cuts + 1
                if cut:
                    other.sendall(data[: len(data) // 2])
                    break
                other.sendall(data)
        for end in (one, other):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        """Ends everything. Nothing is closed while a thread may be about to read from it: its
        number would be given to a new line at once, whose bytes that thread would take."""
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._accepting.join(5)
        for end in self._open:
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
        for thread in self._threads:
            thread.join(5)
        for end in (self._listener, *self._open):
            end.close()
