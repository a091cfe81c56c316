"""Time of the pages of the records among 100,000 sweeps, in SQLite and in a PostgreSQL server of our own.

    nice python -m tests.benchmarks records_page_bench

Prints the median and the worst of 20 warm requests over a socket of this computer, the page made and read whole, and
this program's own processor time (server and client together): on a busy computer the clock tells of the others.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[1] / "page"))

from tests.benchmarks.records_bench import fill
from world import KEY, Served, served

from support import postgres_server
from sweeprig.page.door import Door
from sweeprig.page.hub import Hub
from sweeprig.records.store import open_store

SWEEPS, SENSORS, LIMIT_MS = 100_000, 1000, 100.0
PAGES = {
    "first page": "/records",
    "history of a sensor, 100 sweeps": "/sensor?name=S-{:05d}",
    "search of one serial number": "/records?words=S-{:05d}",
    "search that finds nothing": "/records?words=nobody{}",
}
HELD = ("first page", "history of a sensor, 100 sweeps")


def timed(page: Served, cookie: str, path: str) -> tuple[float, float]:
    """Return clock and processor time of 20 warm requests: median [ms]; the worst is printed."""
    took, busy = [], []
    for k in range(23):
        began, worked = time.perf_counter(), time.process_time()
        status = page.get(path.format(37 * k % SENSORS + 1), cookie)[0]
        took.append(1e3 * (time.perf_counter() - began))
        busy.append(1e3 * (time.process_time() - worked))
        assert status == 200, (path, status)
    warm = took[3:]
    median, work = statistics.median(warm), statistics.median(busy[3:])
    print(f"median {median:6.1f} ms, worst {max(warm):6.1f} ms, processor {work:6.1f} ms", flush=True)
    return median, work


def measure(place: str, name: str) -> float:
    with open_store(place) as store:
        fill(store, SWEEPS, SENSORS)
        if name == "postgresql":
            from sqlalchemy import text

            with store._writing() as connection:
                connection.execute(text("ANALYZE"))
    print(f"{name}: {SWEEPS} sweeps of {SENSORS} sensors, load {os.getloadavg()[0]:.1f}")
    worst = 0.0
    with served(Hub(), door=Door(key=KEY), records=place) as page:
        cookie = page.cookie()
        for title, path in PAGES.items():
            print(f"    {title:34}", end="")
            median, _ = timed(page, cookie, path)
            worst = max(worst, median if title in HELD else 0.0)
    return worst


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        worst = measure(folder, "sqlite")
    with postgres_server.running() as server:
        worst = max(worst, measure(server.new_database("bench"), "postgresql"))
    if worst > LIMIT_MS:
        raise SystemExit(f"slower than {LIMIT_MS:.0f} ms")


if __name__ == "__main__":
    main()
