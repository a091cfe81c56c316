"""A sweep whose record cannot be kept: the verdict, the sheet and the capture are there all the same."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from support import outcomes
from sweeprig.bench.sweep.sweep import SweepOrder, keep_record
from sweeprig.records.engine import FILE_NAME
from sweeprig.records.store import open_store


def order(place: Path, folder: Path) -> SweepOrder:
    return SweepOrder(
        setup=outcomes.make_setup(), folder=folder, calibrations=folder, records_url=str(place), batch="B"
    )


def in_the_way(place: Path) -> None:
    place.write_text("a file where the folder should be")


def no_database(place: Path) -> None:
    place.mkdir()
    (place / FILE_NAME).write_bytes(b"not a database at all" * 300)


def newer(place: Path) -> None:
    with open_store(place):
        pass
    with sqlite3.connect(place / FILE_NAME) as base:
        base.execute("UPDATE alembic_version SET version_num = '9001'")
    base.close()


def half_a_file(place: Path) -> None:
    with open_store(place) as store:
        store.add(outcomes.outcome(), Path("x"))
    file = place / FILE_NAME
    os.truncate(file, file.stat().st_size // 2)


@pytest.mark.parametrize("spoil", [in_the_way, no_database, newer, half_a_file])
def test_why_no_record_was_kept_is_said_with_what_to_do(
    tmp_path: Path, spoil: Callable[[Path], None]
) -> None:
    place = tmp_path / "records"
    spoil(place)
    number, problem = keep_record(outcomes.outcome(), tmp_path / "a.sweep", order(place, tmp_path))
    assert number is None
    assert problem.startswith("NO RECORD IS SAVED. ")
    assert "Next: " in problem
    assert problem.endswith(f"Later: sweeprig records add {tmp_path / 'a.sweep'} --batch B")


def test_a_record_that_was_kept_has_its_batch(tmp_path: Path) -> None:
    number, problem = keep_record(outcomes.outcome(), tmp_path / "a.sweep", order(tmp_path / "r", tmp_path))
    assert (number, problem) == (1, "")
    with open_store(tmp_path / "r", create=False) as store:
        assert store.get(1).batch == "B"


def test_an_error_of_a_database_that_nobody_foresaw_hides_no_verdict(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def odd(*_: object, **__: object) -> int:
        raise TypeError("cannot use a string pattern on a bytes-like object")

    monkeypatch.setattr("sweeprig.records.store.Store.add", odd)
    number, problem = keep_record(outcomes.outcome(), tmp_path / "a.sweep", order(tmp_path / "r", tmp_path))
    assert number is None
    assert problem.startswith("NO RECORD IS SAVED. TypeError: cannot use")
    assert problem.endswith(f"Later: sweeprig records add {tmp_path / 'a.sweep'} --batch B")
