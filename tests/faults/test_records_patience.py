"""Records that other programs hold: tried again for a stated time, then told of with how to add the capture later."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from support import outcomes
from support.records_world import numbered
from sweeprig.bench.sweep.sweep import SweepOrder, keep_record
from sweeprig.records import patience as module
from sweeprig.records.errors import RecordsLockedError
from sweeprig.records.patience import LONGEST_S, Patience
from sweeprig.records.store import open_store


class Time:
    """A clock that goes on only when somebody sleeps; `at_rest` runs in each sleep."""

    def __init__(self, at_rest: Callable[[int], None] = lambda n: None) -> None:
        self.now, self.pauses, self._at_rest = 0.0, [], at_rest

    def sleep(self, seconds: float) -> None:
        self.now += seconds
        self.pauses.append(seconds)
        self._at_rest(len(self.pauses))

    def patience(self, limit_s: float = 15.0) -> Patience:
        return Patience(limit_s, self.sleep, lambda: self.now, lambda: 0.5)


def held() -> int:
    raise RecordsLockedError("The records at X are held by another program.", seen="database is locked")


def test_pauses_grow_to_a_longest_one_and_end_at_the_limit() -> None:
    time = Time()
    with pytest.raises(RecordsLockedError) as caught:
        time.patience(4.0).insist(held)
    assert time.pauses[:3] == pytest.approx([0.02, 0.04, 0.08])
    assert max(time.pauses) == LONGEST_S
    assert time.now == pytest.approx(4.0)
    assert "for 4 s" in caught.value.seen
    assert "wait until the other program has finished; the capture is safe" in caught.value.next_step


def test_what_works_at_last_is_returned() -> None:
    answers = iter([held, held, lambda: 7])
    answer = Time().patience().insist(lambda: next(answers)())  # noqa: PLW0108 (each time the next)
    assert answer == 7


def test_another_error_is_not_tried_again() -> None:
    time = Time()
    with pytest.raises(ZeroDivisionError):
        time.patience().insist(lambda: 1 // 0)
    assert time.pauses == []


@pytest.fixture
def place(tmp_path: Path) -> Path:
    with open_store(tmp_path / "r.sqlite"):
        return tmp_path / "r.sqlite"


def test_a_record_is_kept_once_the_other_program_lets_go(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sweeprig.records.store.TRY_S", 0.01)
    with closing(sqlite3.connect(place, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        time = Time(lambda n: other.execute("ROLLBACK") if n == 3 else None)  # type: ignore[arg-type]
        with open_store(place, patience=time.patience()) as store:
            assert store.add(numbered(1), Path("x.sweep")) == 1
    assert len(time.pauses) == 3


def test_a_new_file_is_waited_for_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever is first holds the new file alone; SQLite's own wait does not hold where the journal's mode changes."""
    monkeypatch.setattr("sweeprig.records.store.TRY_S", 0.01)
    with closing(sqlite3.connect(tmp_path / "new.sqlite", isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        time = Time(lambda n: other.execute("ROLLBACK") if n == 2 else None)  # type: ignore[arg-type]
        with open_store(tmp_path / "new.sqlite", patience=time.patience()) as store:
            assert store.count() == 0
    assert len(time.pauses) == 2


def test_a_sweep_says_how_to_add_its_capture_later(
    place: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    time, file = Time(), tmp_path / "shelf 3's.sweep"
    monkeypatch.setattr("sweeprig.records.store.TRY_S", 0.01)
    monkeypatch.setattr(module.Patience, "__init__", _with(time, module.Patience.__init__))
    order = SweepOrder(
        setup=outcomes.make_setup(), folder=tmp_path, calibrations=tmp_path, records_url=str(place)
    )
    with closing(sqlite3.connect(place, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        number, problem = keep_record(outcomes.outcome(), file, order)
    assert number is None
    assert "tried again for 15 s" in problem
    assert problem.endswith(f"""Later: sweeprig records add '{tmp_path}/shelf 3'"'"'s.sweep'""")


def _with(time: Time, init: Callable[..., None]) -> Callable[..., None]:
    return lambda self, *_, **__: init(self, 15.0, time.sleep, lambda: time.now, lambda: 0.5)
