"""The bench page under a class: 30 devices enter 40 rub scores each at once, on the real server in a process of its own.

Rows:
- every score stored: how many of the scores stand in the book, each exactly once, against how many were entered (floor 1).
- 95th percentile of an entry, ms, against the 200 ms allowed (ratio at most 1). The devices are threads of this process and
  share the machine's two cores with the server, so this is on the slow side.
- the same scores one after another from one device, ms a score: what a single tap waits.
- kill -9: the server is killed in the middle and started anew; devices send again what was not acknowledged. Scores that
  were acknowledged or sent again and stand exactly once, against all (floor 1).

    python tests/benchmarks/bench_load.py [--quick] [--json]
"""

from __future__ import annotations

import http.client
import json
import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from datetime import timedelta
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.benchmarks.printing import Rows, main

from tilestudy.studio import Studio
from tilestudy.study.records import Rub

STUDY, TILES = "plaques", 40
ALLOWED_MS = 200.0


def study_to_rub(folder: Path) -> list[str]:
    """Make a study of 40 tiles, all made ten days ago."""
    studio = Studio(folder)
    path = studio.new(STUDY, "sulfide-dip", "C11000")
    text = path.read_text(encoding="utf-8")
    text = text.replace("levels = [1, 3, 9]", "levels = [1, 9]").replace(
        "levels = [10, 30, 90]", "levels = [5, 10, 20, 40, 80]"
    )
    path.write_text(text.replace("minutes = 150", "minutes = 400"), encoding="utf-8")
    codes = [tile.code for tile in studio.plan(STUDY, seed=7).plan.tiles][:TILES]
    on = (studio.today - timedelta(days=10)).isoformat()
    for code in codes:
        studio.record("made", STUDY, {"tile": code, "on": on})
    return codes


class Server:
    """The command `bench`, in a process of its own."""

    def __init__(self, folder: Path) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = int(free.getsockname()[1])
        self.folder = folder
        self.start()

    def start(self) -> None:
        words = [sys.executable, "-m", "tilestudy", "--folder", str(self.folder), "bench", "--port", str(self.port)]
        self.process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        until = time.monotonic() + 30
        while time.monotonic() < until:
            try:
                connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=5)
                connection.request("GET", "/now")
                connection.getresponse().read()
                connection.close()
                return
            except OSError:
                time.sleep(0.05)
        raise RuntimeError("the bench page did not start")

    def kill(self, how: signal.Signals = signal.SIGKILL) -> None:
        os.kill(self.process.pid, how)
        self.process.wait()


class Device:
    """A phone: a cookie, a token, a mark, and scores sent again until they are acknowledged."""

    def __init__(self, port: int, mark: str) -> None:
        self.port, self.mark = port, mark
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
        self.cookie = ""
        token = re.search(r'name="token" value="([^"]+)"', self.ask("GET", "/mark")[1])
        assert token is not None
        self.token = token[1]
        body = f"token={self.token}&mark={mark}&next=/"
        self.ask("POST", "/mark", body, {"Content-Type": "application/x-www-form-urlencoded"})
        self.took: list[float] = []
        self.tries = 0

    def ask(
        self, how: str, path: str, body: str | None = None, headers: dict[str, str] | None = None
    ) -> tuple[int, str]:
        self.connection.request(how, path, body, {"Cookie": self.cookie, **(headers or {})})
        answer = self.connection.getresponse()
        text = answer.read().decode()
        if (given := answer.headers.get("Set-Cookie")) is not None:
            self.cookie = given.split(";")[0]
        return answer.status, text

    def score(self, tile: str, grade: float, number: str) -> None:
        """Enter one score, again and again until it is acknowledged."""
        cells = {"tile": tile, "grade": f"{grade:g}", "scorer": self.mark, "condition": "dry"}
        body = json.dumps({"id": number, "study": STUDY, "kind": "rub", "cells": cells, "saw": 0, "mark": self.mark})
        headers = {"Content-Type": "application/json", "X-Bench-Token": self.token}
        while True:
            self.tries += 1
            start = time.perf_counter()
            try:
                status, text = self.ask("POST", "/enter", body, headers)
            except (OSError, http.client.HTTPException):
                self.connection.close()
                self.connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
                time.sleep(0.1)
                continue
            if status < 500:
                self.took.append(time.perf_counter() - start)
                assert status == 200, text
                assert json.loads(text)["status"] in ("stored", "again"), text
                return
            time.sleep(0.1)


def stored(folder: Path) -> Counter[tuple[str, str]]:
    """How often each scorer's score of each tile stands in the diary, corrections counted too."""
    with Studio(folder).book() as book:
        every = [kept.record for tile in book.plan(STUDY).tiles for kept in book.history(STUDY, tile.code)]  # type: ignore[union-attr]
    return Counter((one.scorer, one.tile) for one in every if isinstance(one, Rub))


def at_once(devices: list[Device], codes: list[str], scores: int) -> float:
    """Let every device enter its scores at once; return the seconds that all of it took."""

    def go(device: Device) -> None:
        for place, code in enumerate(codes[:scores]):
            device.score(code, 1 + place % 9 / 2, f"{device.mark}-{code}-{scores}")

    threads = [threading.Thread(target=go, args=(one,)) for one in devices]
    start = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return time.perf_counter() - start


def row(name: str, ours: float, foil: float, floor: float, *, least: bool) -> dict[str, object]:
    """A row: ours over the foil's is at least its floor, or at most."""
    ratio = ours / foil
    return {
        "name": name,
        "ours": ours,
        "foil": foil,
        "ratio": ratio,
        "floor": floor,
        "ok": ratio >= floor if least else ratio <= floor,
    }


def run(quick: bool) -> Rows:
    """Return the rows."""
    many, scores = 30, 15 if quick else TILES
    rows: Rows = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        codes = study_to_rub(folder)
        server = Server(folder)
        try:
            devices = [Device(server.port, f"A{number:02}") for number in range(many)]
            whole = at_once(devices, codes, scores)
            found = stored(folder)
            once = sum(found[one.mark, code] == 1 for one in devices for code in codes[:scores])
            rows.append(
                row(f"{many * scores} scores of {many} devices, each stored once", once, many * scores, 1.0, least=True)
            )
            took = 1000 * np.concatenate([one.took for one in devices])
            p95 = float(np.percentile(took, 95))
            rows.append(
                row(f"95th percentile of an entry, ms (all in {whole:.1f} s)", p95, ALLOWED_MS, 1.0, least=False)
            )
            alone = Device(server.port, "ONE")
            at_once([alone], codes, scores)
            rows.append(
                row("one device alone, median ms", float(np.median(alone.took)) * 1000, ALLOWED_MS, 1.0, least=False)
            )

            again = [Device(server.port, f"K{number:02}") for number in range(many)]
            killer = threading.Timer(max(0.4, whole / 3), lambda: (server.kill(), server.start()))
            killer.start()
            at_once(again, codes, scores)
            killer.join()
            found = stored(folder)
            once = sum(found[one.mark, code] == 1 for one in again for code in codes[:scores])
            sent = sum(one.tries for one in again)
            rows.append(row(f"killed in the middle ({sent} sendings): each once", once, many * scores, 1.0, least=True))
        finally:
            server.kill(signal.SIGTERM)
    return rows


if __name__ == "__main__":
    main(__doc__, run)
