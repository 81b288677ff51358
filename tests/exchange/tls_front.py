"""TLS in front of a PostgreSQL whose build has none: it answers as a server with ssl=on does.

PostgreSQL's clients ask for TLS within its protocol, so that a plain TLS listener would not do.
"""

from __future__ import annotations

import asyncio
import contextlib
import ssl
import threading
from pathlib import Path

ASKS_FOR_TLS = (8).to_bytes(4) + (80877103).to_bytes(4)
"""SSLRequest of the PostgreSQL protocol, 3.0."""


class TlsFront:
    """Listens on ``port``; passes on to ``target`` what came encrypted, and nothing else."""

    def __init__(self, target: int, certificate: Path, key: Path) -> None:
        self.target = target
        self.encrypted = 0
        """Lines that came to speak encrypted."""
        self._context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        self._context.load_cert_chain(certificate, key)
        self._loop = asyncio.new_event_loop()
        started = threading.Event()
        self._thread = threading.Thread(target=self._run, args=(started,), daemon=True)
        self._thread.start()
        started.wait()

    def close(self) -> None:
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()

    def _run(self, started: threading.Event) -> None:
        asyncio.set_event_loop(self._loop)
        server = self._loop.run_until_complete(asyncio.start_server(self._line, "127.0.0.1", 0))
        self.port = server.sockets[0].getsockname()[1]
        started.set()
        self._loop.run_forever()
        server.close()
        for task in asyncio.all_tasks(self._loop):
            task.cancel()
        self._loop.run_until_complete(asyncio.sleep(0.05))
        self._loop.close()

    async def _line(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError, ssl.SSLError, asyncio.IncompleteReadError):
            if await reader.readexactly(len(ASKS_FOR_TLS)) == ASKS_FOR_TLS:
                writer.write(b"S")
                await writer.drain()
                await writer.start_tls(self._context)
                self.encrypted += 1
                far_reader, far_writer = await asyncio.open_connection("127.0.0.1", self.target)
                await asyncio.gather(_pass(reader, far_writer), _pass(far_reader, writer))
        writer.close()


async def _pass(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    with contextlib.suppress(OSError, ssl.SSLError):
        while data := await reader.read(65536):
            writer.write(data)
            await writer.drain()
    writer.close()
