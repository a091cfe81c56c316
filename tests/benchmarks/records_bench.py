"""Time of one sensor's history among 100,000 sweeps, in SQLite and in a PostgreSQL server of our own.

    nice python tests/benchmarks/records_bench.py [--sweeps 100000] [--sensors 1000] [--no-postgres]

Prints the median and the worst of 20 warm calls of Store.history, everything a history shows included, the program's
own processor time (on a busy computer the clock tells of the others), and how the database looks the rows up. The rows
are those of an invented sensor's record.
"""

from __future__ import annotations

import argparse
import hashlib
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from support import outcomes, postgres_server
from sweeprig.records import rows, schema
from sweeprig.records.store import Store, open_store

CHUNK = 2000
LIMIT_MS = 50.0


def sweeps(n: int, n_sensors: int) -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    """Rows of captures and verdicts, sensors taking turns as on a bench."""
    one = outcomes.outcome(worn=True)
    capture, verdict = rows.capture_row(one, Path("a.sweep"), ""), rows.verdict_row(one)
    for k in range(n):
        sha = hashlib.sha256(str(k).encode()).hexdigest()
        yield (
            {
                **capture,
                "id": k + 1,
                "sha256": sha,
                "at": capture["at"] + 60.0 * k,
                "sensor_id": k % n_sensors + 1,
            },
            {**verdict, "id": k + 1, "capture_id": k + 1, "closed_v": 0.45 + 1e-6 * k},
        )


def fill(store: Store, n: int, n_sensors: int) -> None:
    with store._writing() as connection:
        names = [{"id": k + 1, "label": "", "part": "", "serial": f"S-{k:05d}"} for k in range(n_sensors)]
        connection.execute(schema.sensors.insert(), names)
        made = sweeps(n, n_sensors)
        while chunk := [row for row, _ in zip(made, range(CHUNK), strict=False)]:
            connection.execute(schema.captures.insert(), [c for c, _ in chunk])
            connection.execute(schema.verdicts.insert(), [v for _, v in chunk])


def plan(store: Store, sensor: str) -> list[str]:
    """How the database finds the rows."""
    from sqlalchemy import event

    asked: list[Any] = []
    event.listen(store._engine, "before_cursor_execute", lambda *a: asked.append((a[2], a[3])))
    store.history(sensor)
    statement, values = asked[-1]
    with store._reading() as connection:
        word = "EXPLAIN QUERY PLAN" if connection.dialect.name == "sqlite" else "EXPLAIN"
        found = connection.exec_driver_sql(f"{word} {statement}", values).all()
    return [str(row[-1]) for row in found]


def measure(place: str, name: str, n: int, n_sensors: int) -> float:
    with open_store(place) as store:
        began = time.perf_counter()
        fill(store, n, n_sensors)
        print(f"{name}: {n} sweeps of {n_sensors} sensors filled in {time.perf_counter() - began:.1f} s")
        if name == "postgresql":
            from sqlalchemy import text

            with store._writing() as connection:
                connection.execute(text("ANALYZE"))
        times, busy, got = [], [], 0
        for k in range(23):
            sensor = f"S-{(k * 37) % n_sensors:05d}"
            began, worked = time.perf_counter(), time.process_time()
            got = len(store.history(sensor))
            times.append(1e3 * (time.perf_counter() - began))
            busy.append(1e3 * (time.process_time() - worked))
        warm = times[3:]
        assert got in (n // n_sensors, n // n_sensors + 1)
        print(
            f"  history of one sensor, {got} records: median {statistics.median(warm):.1f} ms, worst {max(warm):.1f} ms"
        )
        print(f"    of which this program's own processor time: median {statistics.median(busy[3:]):.1f} ms")
        for line in plan(store, "S-00003"):
            print(f"    {line}")
        began = time.perf_counter()
        store.find(limit=50)
        print(f"  newest 50 of all: {1e3 * (time.perf_counter() - began):.1f} ms")
    return statistics.median(warm)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--sweeps", type=int, default=100_000)
    parser.add_argument("--sensors", type=int, default=1000)
    parser.add_argument("--no-postgres", action="store_true")
    args = parser.parse_args()
    worst = []
    with tempfile.TemporaryDirectory() as folder:
        worst.append(measure(folder, "sqlite", args.sweeps, args.sensors))
        print(f"  file: {sum(p.stat().st_size for p in Path(folder).iterdir()) / 1e6:.0f} MB")
    if not args.no_postgres:
        with postgres_server.running() as server:
            worst.append(measure(server.new_database("bench"), "postgresql", args.sweeps, args.sensors))
    if max(worst) > LIMIT_MS:
        raise SystemExit(f"slower than {LIMIT_MS:.0f} ms")


if __name__ == "__main__":
    main()
