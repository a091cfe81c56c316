"""A shop's records: a few sensors swept several times, some of their captures on disk."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from support import outcomes
from support.records_world import numbered
from sweeprig.bench.review.review import review_file
from sweeprig.capture.file import write_capture
from sweeprig.records.store import open_store
from sweeprig.twin.capture import capture_of

HOSTILE = "<img src=x onerror=alert(1)>\"'"


def fill(place: Path, *, sweeps: int = 6) -> None:
    """Sweep the sensors P-1 and P-2 in turns for job 1042, the last one worn; and one of a hostile name."""
    good, worn = outcomes.outcome(), outcomes.outcome(worn=True)
    with open_store(place) as store:
        for k in range(sweeps):
            base = worn if k == sweeps - 1 else good
            one = numbered(
                k, base, closed_v=0.45 + 0.001 * k, serial=f"P-{k % 2 + 1}", job="1042", sensor_label=""
            )
            store.add(one, place / f"gone-{k}.sweep", batch="crate-7")
        hostile = numbered(90, good, sensor_label=HOSTILE, serial="", job=HOSTILE, notes=HOSTILE)
        store.add(hostile, place / "gone.sweep", batch=HOSTILE)


def captured(place: Path, serial: str) -> list[int]:
    """Keep records of a good and of a worn sweep whose captures are on disk; return their numbers."""
    found = []
    with open_store(place) as store:
        for k, sensor in enumerate(("good", "worn")):
            made = capture_of(sensor, seed=3, seconds=4.0)
            setup = replace(made.setup, serial=serial)
            made = replace(made, setup=setup, created=f"2031-03-0{4 + k}T10:00:00+00:00")
            path = Path(write_capture(place / f"{serial}-{k}.sweep", made).path)
            found.append(store.add(review_file(path), path))
    return found
