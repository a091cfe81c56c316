"""What takes long is made in a process of its own, of lower priority: a capture that runs meanwhile goes first.

Reads one job as JSON from standard input, writes what it comes to to standard output.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from io import BytesIO
from typing import TYPE_CHECKING

from sweeprig.errors import FileError, SweeprigError

if TYPE_CHECKING:
    from sweeprig.judge.outcome import Outcome

NICE = 10
REFUSED = 4  # exit status of a job that ends with an error of ours; it is on standard output


def ask(place: str, key: str, kind: str) -> bytes:
    """Return the sheet (HTML) or the course (npz) of a record's capture. Raises FileError."""
    job = json.dumps({"place": place, "key": key, "kind": kind}).encode()
    command = [sys.executable, "-m", "sweeprig.page.records.work"]
    done = subprocess.run(command, input=job, capture_output=True, check=False)
    if done.returncode == 0:
        return done.stdout
    if done.returncode == REFUSED:
        raise FileError(**json.loads(done.stdout))
    raise FileError(
        "The capture could not be opened.", seen=f"record {key}", next_step=f"sweeprig review {key}"
    )


def outcome_of(place: str, key: str) -> Outcome:
    """Return what a record's capture comes to. Raises SweeprigError."""
    from sweeprig.bench.review.by_number import capture_of_record
    from sweeprig.bench.review.review import Choices
    from sweeprig.records.store import open_store

    with open_store(place, create=False) as store:
        capture = capture_of_record(store.get(key), store)
    return capture.review(Choices())


def made(outcome: Outcome, kind: str) -> bytes:
    """Return what is asked for."""
    if kind == "sheet":
        from sweeprig.report.sheet import sheet_html

        return sheet_html(outcome).encode("utf-8", "replace")
    import numpy as np

    from sweeprig.page.records.two import course_of

    out, course = BytesIO(), course_of(outcome)
    np.savez(out, at=course["at"], low_v=course["low_v"], high_v=course["high_v"], strokes=course["strokes"])
    return out.getvalue()


def main() -> int:
    """Do one job."""
    if hasattr(os, "nice"):
        os.nice(NICE)
    job = json.load(sys.stdin)
    try:
        answer = made(outcome_of(job["place"], job["key"]), job["kind"])
    except SweeprigError as error:
        parts = {"what": error.what, "seen": error.seen, "limit": error.limit, "next_step": error.next_step}
        sys.stdout.buffer.write(json.dumps(parts).encode())
        return REFUSED
    sys.stdout.buffer.write(answer)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
