"""Invented outcomes for tests of the records, and programs that write them from a process of their own."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from support import outcomes
from sweeprig.judge.outcome import Outcome

TESTS = Path(__file__).parents[1]
FIRST = datetime(2031, 3, 4, 10, tzinfo=UTC)


def numbered(n: int, base: Outcome | None = None, *, closed_v: float | None = None, **setup: Any) -> Outcome:
    """Outcome number `n`: a capture with a hash of its own, made n minutes after the first."""
    made = base or outcomes.outcome()
    assert made.capture is not None
    sha = hashlib.sha256(str(n).encode()).hexdigest()
    created = (FIRST + timedelta(minutes=n)).isoformat()
    told = replace(made.setup, **setup)
    capture = replace(made.capture, sha256=sha, created=created, setup=told)
    out = replace(made, capture=capture, setup=told)
    if closed_v is None:
        return out
    quantities = dict(out.judgement.quantities)
    quantities["closed_v"] = replace(quantities["closed_v"], value=closed_v)
    return replace(out, judgement=replace(out.judgement, quantities=quantities))


WRITER = """
import sys
from pathlib import Path
from support import outcomes
from support.records_world import numbered
from sweeprig.records.store import open_store
place, first, n = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
base = outcomes.outcome()
made = [numbered(first + k, base, serial=f"S-{(first + k) % 7}") for k in range(n)]
print("ready", flush=True)
sys.stdin.readline()
for k, one in enumerate(made):
    with open_store(place) as store:
        store.add(one, Path(f"{first + k}.sweep"))
    print(first + k, flush=True)
"""

HALF_DONE = """
import sys
from pathlib import Path
from support.records_world import numbered
from sweeprig.records import rows, schema
from sweeprig.records.store import open_store
place = sys.argv[1]
one = numbered(900)
with open_store(place) as store, store._writing() as connection:
    connection.execute(schema.captures.insert().values(**rows.capture_row(one, Path("900.sweep"), "")))
    print("inside", flush=True)
    sys.stdin.readline()
"""


class Writer:
    """A program of its own that sees these helpers. Use it in a `with`: it ends with the block."""

    def __init__(self, code: str, *args: str) -> None:
        pipe = subprocess.PIPE
        self._run = subprocess.Popen(
            [sys.executable, "-c", code, *args],
            stdin=pipe,
            stdout=pipe,
            stderr=pipe,
            text=True,
            env={**os.environ, "PYTHONPATH": os.pathsep.join([str(TESTS), os.environ.get("PYTHONPATH", "")])},
        )

    def __enter__(self) -> Writer:
        return self

    def __exit__(self, *_: object) -> None:
        with self._run:
            self._run.kill()

    def line(self) -> str:
        assert self._run.stdout is not None
        return self._run.stdout.readline().strip()

    def go(self) -> None:
        assert self._run.stdin is not None
        self._run.stdin.write("go\n")
        self._run.stdin.flush()

    def kill(self) -> list[str]:
        """Kill it (SIGKILL); return the lines that it had still said."""
        self._run.kill()
        return self._run.communicate()[0].split()

    def wait(self) -> tuple[int, str]:
        """Wait for its end; return status and what it wrote to standard error."""
        _, errors = self._run.communicate(timeout=600)
        return self._run.returncode, errors
