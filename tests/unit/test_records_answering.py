"""A server that stands still after it was connected: the request ends, and nobody waits for the verdict for good."""

from __future__ import annotations

from collections.abc import Generator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from support import outcomes
from sweeprig.bench.sweep.sweep import keep_record
from sweeprig.records.answering import limit_waits

psycopg = pytest.importorskip("psycopg")


class Wire:
    """A connection whose server answers at the given times [s], and is looked at every 0.1 s."""

    def __init__(self, *answers_s: float) -> None:
        self.time_s, self._answers, self.closed = 0.0, list(answers_s), False
        self.pgconn = SimpleNamespace(socket=0, finish=lambda: setattr(self, "closed", True))

    def wait(self, request: Generator[Any, Any, Any]) -> Any:
        raise AssertionError("the connection's own wait is not taken")

    def look(self, request: Generator[Any, Any, Any], _socket: int, interval: float) -> Any:
        try:
            next(request)
            while self.time_s < 1000:
                self.time_s += interval
                ready = bool(self._answers) and self.time_s >= self._answers[0]
                if ready:
                    self._answers.pop(0)
                request.send(1 if ready else 0)
        except StopIteration as end:
            return end.value
        raise AssertionError("waits without end")


def request(n: int) -> Generator[int, int, str]:
    """A request that is through after `n` answers."""
    while n:
        n -= bool((yield 1))
    return "through"


def test_a_server_that_says_nothing_is_given_up() -> None:
    wire = Wire()
    limit_waits(wire, limit_s=15.0, clock=lambda: wire.time_s, wait=wire.look)
    with pytest.raises(psycopg.OperationalError, match="no answer from the server within 15 s"):
        wire.wait(request(1))
    assert wire.closed
    assert wire.time_s == pytest.approx(15.0, abs=0.3)


def test_a_slow_server_that_goes_on_answering_is_waited_for() -> None:
    wire = Wire(10.0, 22.0, 36.0)
    limit_waits(wire, limit_s=15.0, clock=lambda: wire.time_s, wait=wire.look)
    assert wire.wait(request(3)) == "through"
    assert not wire.closed


def test_ctrl_c_while_the_records_are_waited_for_keeps_the_verdict(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def waits(*_: object, **__: object) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr("sweeprig.records.store.Store.add", waits)
    order: Any = SimpleNamespace(records_url=str(tmp_path / "r"), batch="", records_captures="")
    number, problem = keep_record(outcomes.outcome(), tmp_path / "a.sweep", order)
    assert number is None
    assert problem.startswith("NO RECORD IS SAVED. Ctrl-C was pressed")
    assert problem.endswith(f"Later: sweeprig records add {tmp_path / 'a.sweep'}")
