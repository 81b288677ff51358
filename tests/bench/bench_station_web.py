"""From the frame that completes the pair to the answer in the page; ten stations at once.

    python -m tests.bench.bench_station_web [--stations 10] [--times 20]

One station: Chromium with a fake camera (960 × 720, 15 frames a second) looks at a truck's label;
a battery's is put beside it; the clock stops when the answer stands in the page. It runs from the
moment the picture changes, so that the camera's own period counts too.

Several stations: each sends frames of a cluttered room (1280 × 720, JPEG) over its own line, one
at a time, at most 15 a second. The clock runs from the first frame with the pair to the answer's
arrival. A tag counts after two agreeing frames in both. The server is a process of its own.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import cv2

TESTS = Path(__file__).resolve().parents[1]
for folder in ("web", "web/browser", "jobs", "reader"):
    sys.path.insert(0, str(TESTS / folder))

PERIOD = 1 / 15
VARIANTS = 6


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--stations", type=int, default=10)
    asked.add_argument("--times", type=int, default=20)
    asked.add_argument("--serve", nargs=2, metavar=("FOLDER", "PORT"), help=argparse.SUPPRESS)
    given = asked.parse_args()
    if given.serve:
        serve(Path(given.serve[0]), int(given.serve[1]))
        return
    from station_room import station_room

    with tempfile.TemporaryDirectory() as scratch:
        room = station_room(Path(scratch) / "site")
        load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
        print(f"{os.cpu_count()} cores, {platform.machine()}, load before {load:.1f}\n")
        print("| what | answers | median ms | p95 ms | longest ms | CPU s a second |")
        print("|---|---|---|---|---|---|")
        in_browser(room, Path(scratch), given.times)
        for count in sorted({1, given.stations}):
            lines(room, count, given.times)


def serve(folder: Path, port: int) -> None:
    import uvicorn
    from tagkit.web.app import create_app
    from tagkit.web.options import ServeOptions

    uvicorn.run(create_app(ServeOptions(folder, port=port)), port=port, log_level="error")


class Server:
    """The site served by a process of its own."""

    def __init__(self, folder: Path, port: int = 8765) -> None:
        self.address, self.line = f"http://127.0.0.1:{port}", f"ws://127.0.0.1:{port}"
        command = [sys.executable, "-m", "tests.bench.bench_station_web"]
        self.process = subprocess.Popen([*command, "--serve", str(folder), str(port)])
        import httpx

        for _ in range(300):
            try:
                httpx.get(f"{self.address}/station")
                break
            except httpx.TransportError:
                time.sleep(0.1)

    def cpu(self) -> float:
        """Seconds that the server and its readers have used (where the system tells)."""
        total = 0.0
        for stat in Path("/proc").glob("[0-9]*/stat"):
            try:
                fields = stat.read_text(encoding="utf-8").rpartition(")")[2].split()
            except OSError:
                continue
            mine = int(stat.parent.name) == self.process.pid or int(fields[1]) == self.process.pid
            if mine:
                total += (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
        return total

    def end(self) -> None:
        self.process.terminate()
        self.process.wait(20)


def in_browser(room: Any, scratch: Path, times: int) -> None:
    from fake_camera import FakeCamera
    from playwright.sync_api import sync_playwright
    from serving_sites import FLAGS, chromium

    camera = FakeCamera(scratch / "camera.y4m")
    server = Server(room.folder)
    taken = []
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path=chromium(),
                args=[*FLAGS, f"--use-file-for-fake-video-capture={camera.path}"],
            )
            page = browser.new_context(permissions=["camera"]).new_page()
            page.goto(f"{server.address}/station")
            page.wait_for_selector(".answer[data-stage=show]")
            page.wait_for_function("() => document.getElementById('video').readyState >= 2")
            # The moment at which the answer stands in the page, by the clock of this computer.
            page.evaluate(
                """() => new MutationObserver(() => {
                    const stage = document.querySelector("#screen .answer")?.dataset.stage;
                    if (stage !== window.stage && stage === "out") window.answered = Date.now();
                    window.stage = stage;
                }).observe(document.getElementById("screen"), { childList: true })"""
            )
            began, cpu = time.monotonic(), server.cpu()
            for index in range(times):
                camera.show(room["T1"])
                time.sleep(1.6)
                page.locator("#screen .key").last.click()  # start again
                page.wait_for_selector(".answer[data-stage=show]")
                page.evaluate("window.answered = 0")
                battery = room[f"F{index % 18 + 1}"]
                start = time.time()
                camera.show(room["T1"], battery)
                page.wait_for_function("() => window.answered > 0")
                taken.append(page.evaluate("window.answered") / 1000 - start)
            used = (server.cpu() - cpu) / (time.monotonic() - began)
            browser.close()
    finally:
        server.end()
    row("one station, browser and camera", taken, used)


def lines(room: Any, count: int, times: int) -> None:
    import scenes
    from tagkit.web.access.devices import enrol, new_code
    from tagkit.web.access.store import AccessStore

    store = AccessStore(room.folder)
    tokens = []
    for number in range(count):
        code = new_code(store, f"bay-{count}-{number}", "TS", time.time())
        tokens.append(enrol(store, code, "", f"{number}", time.time())[1])
    store.close()

    def frames(*texts: str) -> list[bytes]:
        made = []
        for variant in range(VARIANTS):
            grey = scenes.scene(texts, 40 + variant, tilt=10, noise=3).grey
            made.append(bytes(cv2.imencode(".jpg", grey, (cv2.IMWRITE_JPEG_QUALITY, 80))[1]))
        return made

    without = frames(room["T1"])
    # Each station is shown two batteries in turn, so that neither has to be forgotten first.
    batteries = [frames(room["T1"], room[f"F{number + 1}"]) for number in range(min(2 * count, 18))]
    server = Server(room.folder)
    try:
        began, cpu = time.monotonic(), server.cpu()
        taken = asyncio.run(_all(server, tokens, without, batteries, times))
        used = (server.cpu() - cpu) / (time.monotonic() - began)
    finally:
        server.end()
    row(f"{count} station(s) streaming, line", taken, used)


async def _all(
    server: Server, tokens: list[str], without: list[bytes], shown: list[list[bytes]], times: int
) -> list[float]:
    stations = [
        _station(
            server,
            token,
            without,
            [shown[(2 * number + turn) % len(shown)] for turn in (0, 1)],
            times,
            number,
        )
        for number, token in enumerate(tokens)
    ]
    return [one for taken in await asyncio.gather(*stations) for one in taken]


async def _station(
    server: Server,
    token: str,
    without: list[bytes],
    pairs: list[list[bytes]],
    times: int,
    number: int,
) -> list[float]:
    import websockets

    taken: list[float] = []
    headers = {"Cookie": f"station={token}"}
    async with websockets.connect(
        f"{server.line}/station/live", additional_headers=headers, max_size=None
    ) as socket:
        await asyncio.sleep(0.37 * number)  # people do not all come in the same moment
        for turn in range(times):
            await _stream(socket, without, 1.6, until=None)
            await socket.send(json.dumps({"do": "again"}))
            await _stream(socket, without, 0.3, until=None)
            start = time.perf_counter()
            answered = await _stream(socket, pairs[turn % 2], 20, until="out")
            taken.append((answered or time.perf_counter()) - start)
    return taken


async def _stream(
    socket: Any, frames: list[bytes], seconds: float, until: str | None
) -> float | None:
    """Frames, one on its way at a time; the moment at which stage ``until`` was heard of."""
    end = time.perf_counter() + seconds
    at = 0
    while time.perf_counter() < end:
        sent = time.perf_counter()
        await socket.send(frames[at % len(frames)])
        at += 1
        heard = None
        while True:
            message = await socket.recv()
            if isinstance(message, bytes):
                continue
            said = json.loads(message)
            if until and said["is"] == "screen" and said["stage"] == until:
                heard = time.perf_counter()
            # The frame's own answer is waited for in any case, or the next would be read late.
            if said["is"] == "sight":
                break
        if heard is not None:
            return heard
        await asyncio.sleep(max(0.0, PERIOD - (time.perf_counter() - sent)))
    return None


def row(what: str, taken: list[float], used: float) -> None:
    in_order = sorted(1000 * one for one in taken)
    late = in_order[max(0, round(0.95 * len(in_order)) - 1)]
    print(
        f"| {what} | {len(in_order)} | {statistics.median(in_order):.0f} | {late:.0f} "
        f"| {in_order[-1]:.0f} | {used:.2f} |",
        flush=True,
    )


if __name__ == "__main__":
    main()
