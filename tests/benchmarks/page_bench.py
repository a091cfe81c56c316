"""From the end of a record on the rig to the picture of it in a real Chromium, and what a capture loses to its pages.

    python -m tests.benchmarks page_bench        # needs chromium and chromedriver; two minutes

Four captures of a simulated rig, in real time, with the page in a browser of a phone's size: alone; beside 20 clients
that open the stream and never read; beside 200 requests a second from another process; beside sheets that are made
one after another, each of a capture that has to be judged anew. Each prints the delay of every
10 ms of records (the first picture that shows that record or a newer one), the records lost, and the computer's load.

How the delay is found: rig and browser are on one computer and one clock. The moment at which the rig began is the
earliest seen from arrivals at the host, so that what is left out is the shortest time that a record was ever under way
from the simulated rig's pipe (some milliseconds); the time in which a picture reaches the glass is not in it either.
A computer that is too busy to simulate a rig in real time shows that as records that come late to the host: then the
figures are those of the computer.
"""

from __future__ import annotations

import os
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[1] / "page"))

from world import Served, served

from support.browser import Browser, browser
from support.faces import Quiet
from sweeprig.bench.board.rig import opened_rig
from sweeprig.bench.hookup.cautions import Unattended
from sweeprig.bench.review.review import review_file
from sweeprig.bench.sweep.sweep import SweepOrder, take
from sweeprig.capture.file import write_capture
from sweeprig.capture.model import SweepSetup
from sweeprig.page.beside import Beside
from sweeprig.records.store import open_store
from sweeprig.twin.capture import capture_of

PORT = "sim://good?seed=3"
SECONDS = 25.0
CLIENTS, REQUESTS_PER_S = 20, 200
MEDIAN_MS, P95_MS = 150.0, 250.0
LISTEN = """
    window.pictures = [];
    document.addEventListener('drawn', (event) => {
        const rig = event.detail.kind === 'live' ? event.detail.rig_s : 0;
        const painted = new MessageChannel(); // its message comes after the picture of this frame
        painted.port1.onmessage = () => window.pictures.push([rig, performance.timeOrigin + performance.now()]);
        painted.port2.postMessage(0);
    });
"""
FLOOD = """
import http.client, sys, time
port, cookie, each = int(sys.argv[1]), sys.argv[2], 1 / float(sys.argv[3])
due, counts = time.monotonic(), {}
while not sys.stdin.closed:
    due += each
    time.sleep(max(0.0, due - time.monotonic()))
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
    try:
        connection.request("GET", "/", headers={"cookie": cookie})
        status = connection.getresponse().status
    except OSError as exc:
        status = type(exc).__name__
    connection.close()
    counts[status] = counts.get(status, 0) + 1
    print(counts, flush=True)
"""


SHEETS = """
import http.client, sys
port, cookie, n, made = int(sys.argv[1]), sys.argv[2], int(sys.argv[3]), 0
while True:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    connection.request("GET", f"/record/{made % n + 1}/sheet", headers={"cookie": cookie})
    answer = connection.getresponse()
    assert answer.status == 200 and len(answer.read()) > 10000
    connection.close()
    made += 1
    print(made, flush=True)
"""
CAPTURES = 9  # more than the server remembers


@dataclass
class Arrivals(Quiet):
    """Notes when each newest record came to the host."""

    came: list[tuple[float, float]] = field(default_factory=list)  # ([s] of the rig, [s] of the clock)

    def __post_init__(self) -> None:
        Quiet.__init__(self)

    def show(self, state: Any) -> None:
        self.came.append((state.reading.seconds, time.time()))


def capture_beside(page: Served, folder: Path) -> tuple[int, int, list[tuple[float, float]]]:
    """Return records kept, records lost, and the arrivals of a timed sweep shown on the page."""
    arrivals = Arrivals()
    beside = Beside(page.hub)

    @contextmanager
    def watch(*_: object) -> Iterator[Any]:
        with beside.sweep(_given(arrivals), "bench", simulated=True) as face:
            yield face

    setup = SweepSetup(seconds=SECONDS, profile="any-three-wire", confirmed=("plug-off",))
    order = SweepOrder(setup, folder, folder, sheet="none", timed=True)
    with opened_rig(PORT) as client:
        capture, _ = take(client, order, watch=watch, ask=Unattended(setup.confirmed))
    return len(capture.records), capture.n_lost, arrivals.came


@contextmanager
def _given(face: Any) -> Iterator[Any]:
    yield face


def when_there(seen: list[tuple[float, float]], steps: list[float]) -> list[float]:
    """Return for each moment of the rig [s] the first time at which it or a newer one was there [s]."""
    out, k = [], 0
    for rig_s in steps:
        while seen[k][0] < rig_s:
            k += 1
        out.append(seen[k][1])
    return out


def delays_ms(
    came: list[tuple[float, float]], pictures: list[list[float]]
) -> tuple[list[float], list[float]]:
    """Return, for each 10 ms of the rig's time, how long until the host had it, and until a picture showed it [ms]."""
    began_s = min(at - rig for rig, at in came if rig > 0)
    seen = [(rig, at / 1e3) for rig, at in pictures if rig > 0]
    steps = [
        step / 100 for step in range(100, round(100 * seen[-1][0]))
    ]  # from 1 s on: the page has its pace
    host, shown = when_there(came, steps), when_there(seen, steps)
    return (
        sorted(1e3 * (at - began_s - rig) for at, rig in zip(host, steps, strict=True)),
        sorted(1e3 * (at - began_s - rig) for at, rig in zip(shown, steps, strict=True)),
    )


def spread(found: list[float]) -> str:
    """Return median, 95 % and worst in words."""
    p95 = found[int(0.95 * len(found))]
    return f"median {statistics.median(found):.0f} ms, 95 % {p95:.0f} ms, worst {found[-1]:.0f} ms"


@contextmanager
def stalled(page: Served) -> Iterator[None]:
    """Open streams that nobody reads."""
    cookie = page.cookie()
    opened = [socket.create_connection(("127.0.0.1", page.port)) for _ in range(CLIENTS)]
    for s in opened:
        s.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        s.sendall(f"GET /events HTTP/1.1\r\nhost: {page.host}\r\ncookie: {cookie}\r\n\r\n".encode())
    try:
        yield
    finally:
        for s in opened:
            s.close()


@contextmanager
def flooded(page: Served) -> Iterator[None]:
    """Ask for the page over and over, from a process of its own."""
    command = [sys.executable, "-c", FLOOD, str(page.port), page.cookie(), str(REQUESTS_PER_S)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as run:
        try:
            yield
        finally:
            run.terminate()
            out = run.communicate()[0].splitlines()
            print(f"    answers by status: {out[-1] if out else 'none'}")


@contextmanager
def reviewed(page: Served) -> Iterator[None]:
    """Ask for sheets of captures that have to be judged anew each time, one after another, from another process."""
    cookie = page.cookie()
    command = [sys.executable, "-c", SHEETS, str(page.port), cookie, str(CAPTURES)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as run:
        try:
            yield
        finally:
            run.terminate()
            out = run.communicate()[0].splitlines()
            print(f"    sheets made: {out[-1] if out else 'none'}")


def shelf_of(folder: Path) -> str:
    """Keep the records of more captures than are remembered; return their place."""
    with open_store(folder) as store:
        for seed in range(CAPTURES):
            path = Path(
                write_capture(folder / f"{seed}.sweep", capture_of("worn", seed=seed, seconds=10.0)).path
            )
            store.add(review_file(path), path)
    return str(folder)


@contextmanager
def alone(_page: Served) -> Iterator[None]:
    yield


def measure(name: str, around: Any, window: Browser, shelf: str) -> tuple[float, float, int]:
    with tempfile.TemporaryDirectory() as folder, served(records=shelf) as page:
        window.open(f"http://{page.host}/key/{page.key}")
        window.until_text("#lead", "You lead")
        window.run(LISTEN)
        print(f"{name}, {SECONDS:.0f} s, load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores", flush=True)
        with around(page):
            kept, lost, came = capture_beside(page, Path(folder))
        pictures = window.run("return window.pictures")
        window.open("about:blank")
    host, shown = delays_ms(came, pictures)
    median, p95 = statistics.median(shown), shown[int(0.95 * len(shown))]
    print(f"    record to host:    {spread(host)}")
    print(f"    record to picture: {spread(shown)}")
    print(
        f"    {len(pictures) / SECONDS:.1f} pictures a second; {kept} records kept, {lost} lost", flush=True
    )
    return median, p95, lost


def main() -> None:
    runs = {
        "page alone": alone,
        f"beside {CLIENTS} clients that never read": stalled,
        f"beside {REQUESTS_PER_S} requests a second": flooded,
        "beside sheets that are made one after another": reviewed,
    }
    if not (shutil.which("chromium") and shutil.which("chromedriver")):
        print("not run: chromium or chromedriver is not installed")
        return
    with tempfile.TemporaryDirectory() as folder, browser() as window:
        shelf = shelf_of(Path(folder))
        found = [measure(name, around, window, shelf) for name, around in runs.items()]
    if any(lost for _, _, lost in found):
        raise SystemExit("records were lost")
    if found[0][0] > MEDIAN_MS or found[0][1] > P95_MS:
        raise SystemExit(f"slower than {MEDIAN_MS:.0f} ms at the median or {P95_MS:.0f} ms at 95 %")


if __name__ == "__main__":
    main()
