"""Copies of captures that a second bench opens: in a folder by digest, in the database; damaged and missing ones."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

import pytest

from support import postgres_server
from sweeprig.bench.review.by_number import named_captures
from sweeprig.bench.review.review import Choices, take_in
from sweeprig.bench.shop.captures import DATABASE, file_at, keep
from sweeprig.bench.shop.config import set_value
from sweeprig.bench.shop.places import find_places
from sweeprig.capture.file import write_capture
from sweeprig.errors import FileError
from sweeprig.records.store import open_store
from sweeprig.twin.capture import capture_of


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    return Path(write_capture(tmp_path / "bench-1" / "a.sweep", capture_of("good", seed=3, seconds=3.0)).path)


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    if request.param == "sqlite":
        yield str(tmp_path / "records")
        return
    with postgres_server.running() as server:
        yield server.new_database("shop")


def _configured(where: str) -> None:
    set_value(find_places().config_file, "records_captures", where)


def test_a_second_bench_opens_a_sweep_out_of_the_database(place: str, capture: Path) -> None:
    _configured(DATABASE)
    with open_store(place) as store:
        (number,) = take_in(store, [capture])
    capture.unlink()
    (named,) = named_captures([str(number)], place)
    assert named.path != capture
    assert named.record is not None
    assert named.review(Choices()).judgement.reason == named.record.reason


def test_a_second_bench_opens_a_sweep_out_of_a_folder(tmp_path: Path, capture: Path) -> None:
    _configured(str(tmp_path / "shop"))
    with open_store(tmp_path / "records") as store:
        (number,) = take_in(store, [capture])
    digest = hashlib.sha256(capture.read_bytes()).hexdigest()
    capture.unlink()
    (named,) = named_captures([str(number)], str(tmp_path / "records"))
    assert named.path == tmp_path / "shop" / digest[:2] / f"{digest}.sweep"


def test_a_damaged_copy_is_not_opened_and_the_capture_is_named(tmp_path: Path, capture: Path) -> None:
    shop = str(tmp_path / "shop")
    _configured(shop)
    with open_store(tmp_path / "records") as store:
        (number,) = take_in(store, [capture])
    copy = file_at(shop, hashlib.sha256(capture.read_bytes()).hexdigest(), ".sweep")
    copy.write_bytes(copy.read_bytes()[:-1])
    capture.unlink()
    with pytest.raises(FileError) as caught:
        named_captures([str(number)], str(tmp_path / "records"))
    assert caught.value.seen == str(capture)


def test_where_nothing_is_set_no_copy_is_kept(tmp_path: Path, capture: Path) -> None:
    with open_store(tmp_path / "records") as store:
        take_in(store, [capture])
        assert store.file(hashlib.sha256(capture.read_bytes()).hexdigest()) is None


def test_a_copy_that_cannot_be_kept_is_told_and_stops_nothing(tmp_path: Path, capture: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("")
    with open_store(tmp_path / "records") as store:
        told = keep(store, capture, str(blocked))
    assert told.startswith("NO COPY OF THE CAPTURE WAS KEPT")
    assert "sweeprig records add" in told


def test_the_same_capture_twice_is_one_copy(place: str, capture: Path) -> None:
    with open_store(place) as store:
        assert keep(store, capture, DATABASE) == ""
        assert keep(store, capture, DATABASE) == ""
        assert store.file(hashlib.sha256(capture.read_bytes()).hexdigest()) == capture.read_bytes()
