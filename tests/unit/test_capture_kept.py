"""What came is kept: a slow disk stops no reading, names are claimed, and no program takes another's work."""

from __future__ import annotations

import json
import os
import threading
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from support.fake_rig import FakeRig
from sweepboard import wire
from sweeprig.capture import atomic, locks
from sweeprig.capture import journal as journal_module
from sweeprig.capture.file import read_capture, write_capture
from sweeprig.capture.live import start_capture
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.capture.sweep import Progress, recover, run_sweep
from sweeprig.capture.writer import Disk
from sweeprig.errors import CaptureFileError
from sweeprig.link.clean import MOST_PROFILE, text_digest
from sweeprig.link.client import RigClient
from sweeprig.twin.capture import capture_of

SETUP = SweepSetup(seconds=3.0, serial="S1")


def sweep(folder: Path, **more: Any) -> Capture:
    rig = FakeRig()
    return run_sweep(RigClient(rig, clock=rig.clock), SETUP, folder=folder, clock=rig.clock, **more)


def crashed(folder: Path) -> Path:
    """A journal whose program ended before the capture was in a file."""
    path = Path(sweep(folder).journal)
    locks.let_go(path)
    return path


# --- the disk


def test_the_reading_thread_never_tells_the_disk_to_hurry(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    threads: list[threading.Thread] = []
    monkeypatch.setattr(os, "fsync", lambda _: threads.append(threading.current_thread()))
    capture = sweep(tmp_path)
    assert len(threads) >= 3
    assert threading.main_thread() not in threads[1:]  # the first is that of the head, before the stream
    locks.let_go(Path(capture.journal))


def test_a_disk_that_stalls_loses_nothing(tmp_path: Path) -> None:
    stalled, seen = threading.Event(), 0

    def look(p: Progress) -> None:
        nonlocal seen
        seen = p.n_records
        if seen >= 3000:
            stalled.set()

    def sync(_: int) -> None:
        if threading.current_thread() is not threading.main_thread():
            stalled.wait()

    capture = sweep(tmp_path, disk=Disk(sync=sync, patience_s=0.0), progress=look)
    assert (seen >= 3000, capture.n_lost, capture.set_aside) == (True, 0, {})
    assert len(capture.records) == round(3.0 / capture.window_s)
    locks.let_go(Path(capture.journal))


def test_what_a_stalled_disk_cannot_take_is_told(tmp_path: Path) -> None:
    stalled = threading.Event()

    def sync(_: int) -> None:
        if threading.current_thread() is not threading.main_thread():
            stalled.wait()

    disk = Disk(sync=sync, patience_s=0.0, most_waiting=10_000)
    capture = sweep(tmp_path, disk=disk, progress=lambda p: stalled.set() if p.n_records >= 2900 else None)
    (told,) = (n for what, n in capture.set_aside.items() if "journal" in what)
    assert told > 10_000
    assert capture.n_lost > 0
    written = write_capture(tmp_path / "a.sweep", capture)
    assert read_capture(Path(written.path)).set_aside == capture.set_aside


def test_a_disk_that_fails_is_an_error_with_a_next_step(tmp_path: Path) -> None:
    def fail(_: int) -> None:
        raise OSError(5, "Input/output error")

    with pytest.raises(CaptureFileError, match="Input/output error"):
        sweep(tmp_path, disk=Disk(sync=fail))
    assert list(tmp_path.iterdir()) == []  # nothing had come

    def later(_: int) -> None:
        if threading.current_thread() is not threading.main_thread():
            fail(0)

    with pytest.raises(CaptureFileError, match="data received so far is kept"):
        sweep(tmp_path, disk=Disk(sync=later))
    (kept,) = recover(tmp_path)
    assert len(read_capture(kept).records) > 900


# --- names


def test_a_capture_never_takes_the_name_of_another(tmp_path: Path) -> None:
    capture = capture_of("good", seconds=0.2)
    paths = [
        Path(write_capture(tmp_path / "a.sweep", replace(capture, created=str(i))).path) for i in range(3)
    ]
    assert [p.name for p in paths] == ["a.sweep", "a-2.sweep", "a-3.sweep"]
    assert [read_capture(p).created for p in paths] == ["0", "1", "2"]


def test_two_hosts_at_once_get_two_names(tmp_path: Path) -> None:
    capture = capture_of("good", seconds=0.2)
    names: list[str] = []
    go = threading.Barrier(8)

    def host(number: int) -> None:
        go.wait()
        names.append(write_capture(tmp_path / "a.sweep", replace(capture, created=str(number))).path)

    hosts = [threading.Thread(target=host, args=(n,)) for n in range(8)]
    for h in hosts:
        h.start()
    for h in hosts:
        h.join()
    assert len(set(names)) == 8
    assert {read_capture(Path(n)).created for n in names} == {str(n) for n in range(8)}


def test_names_are_claimed_where_there_are_no_links(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_links(*_: object) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(atomic.os, "link", no_links)
    capture = capture_of("good", seconds=0.2)
    for name in ("a.sweep", "a-2.sweep"):
        assert Path(write_capture(tmp_path / "a.sweep", capture).path).name == name
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a-2.sweep", "a.sweep"]


# --- read back before the journal goes


def test_the_journal_stays_where_the_file_does_not_read_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    capture = sweep(tmp_path)
    real = Path.read_bytes
    monkeypatch.setattr(Path, "read_bytes", lambda p: real(p)[:-1] if p.suffix == ".sweep" else real(p))
    with pytest.raises(CaptureFileError, match="read back"):
        write_capture(tmp_path / "a.sweep", capture)
    monkeypatch.undo()
    assert Path(capture.journal).exists()
    assert len(recover(tmp_path)) == 1


def test_what_could_not_be_read_back_is_never_written(tmp_path: Path) -> None:
    capture = sweep(tmp_path)
    long = replace(capture, coaching=("x" * 2000,) * 20_000)
    with pytest.raises(CaptureFileError, match=r"capture\.json unpacks to more"):
        write_capture(tmp_path / "a.sweep", long)
    assert not list(tmp_path.glob("*.sweep"))
    assert Path(capture.journal).exists()


def test_the_most_that_a_board_and_an_operator_can_say_is_kept(tmp_path: Path) -> None:
    worst = "\x01" * 2000  # six characters each in JSON
    setup = replace(SETUP, operator=worst, job=worst, notes=worst, profile_text="\x01" * MOST_PROFILE)
    setup = replace(setup, profile_sha256=text_digest(setup.profile_text))
    capture = replace(capture_of("good", seconds=0.2), setup=setup, board_text=("\x01" * 400,) * 1000)
    written = write_capture(tmp_path / "a.sweep", capture)
    assert read_capture(Path(written.path)).setup.notes == worst


def test_coaching_without_an_end_is_kept_in_part(tmp_path: Path) -> None:
    capture = sweep(tmp_path, coaching=lambda: ("x" * 2000,) * 20_000)
    assert (len(capture.coaching), capture.set_aside) == (1000, {"lines of instructions": 19_000})
    written = write_capture(tmp_path / "a.sweep", capture)
    assert read_capture(Path(written.path)).coaching == capture.coaching


# --- recovery


def test_a_journal_is_locked_until_its_capture_is_in_a_file(tmp_path: Path) -> None:
    capture = sweep(tmp_path)
    assert recover(tmp_path) == []
    write_capture(tmp_path / "a.sweep", capture)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.sweep"]


def test_of_three_hosts_one_recovers(tmp_path: Path) -> None:
    path = crashed(tmp_path)
    found: list[Path] = []
    go = threading.Barrier(3)

    def host() -> None:
        go.wait()
        found.extend(recover(tmp_path))

    hosts = [threading.Thread(target=host) for _ in range(3)]
    for h in hosts:
        h.start()
    for h in hosts:
        h.join()
    assert found == [path.with_suffix(".sweep")]
    assert sorted(p.name for p in tmp_path.iterdir()) == [found[0].name]


def test_a_journal_that_another_host_recovers_is_left_alone(tmp_path: Path) -> None:
    path = crashed(tmp_path)
    (claimed,) = journal_module.left_behind(tmp_path)
    assert claimed == path
    assert recover(tmp_path) == []
    locks.let_go(path)
    assert len(recover(tmp_path)) == 1


def test_one_journal_can_be_named(tmp_path: Path) -> None:
    first, second = crashed(tmp_path), crashed(tmp_path)
    assert recover(second) == [second.with_suffix(".sweep")]
    assert first.exists()


def test_what_a_crash_left_of_a_file_is_removed(tmp_path: Path) -> None:
    crashed(tmp_path)
    left = tmp_path / ".part-abcd.sweep"
    left.write_bytes(b"half")
    with (tmp_path / ".part-efgh.html").open("wb") as busy:
        assert locks.lock(busy.fileno())
        recover(tmp_path)
        assert not left.exists()
        assert Path(busy.name).exists()
    recover(tmp_path)
    assert not list(tmp_path.glob(".*"))


def test_a_full_disk_does_not_make_a_journal_useless(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = crashed(tmp_path)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CaptureFileError, match="No space left"):
        recover(tmp_path)
    monkeypatch.undo()
    assert sorted(p.name for p in tmp_path.iterdir()) == [path.name]
    assert len(recover(tmp_path)) == 1


def test_a_recovered_capture_keeps_calibration_versions_and_profile(tmp_path: Path) -> None:
    setup = replace(SETUP, profile_text="x = 1\n", profile_sha256=text_digest("x = 1\n"))
    rig = FakeRig()
    client = RigClient(rig, clock=rig.clock)
    calibration, versions = {"kind": "line", "gain": 1.5}, {"sweeprig": "0.1"}
    with start_capture(
        client, setup, folder=tmp_path, calibration=calibration, versions=versions, clock=rig.clock
    ) as live:
        for _ in live.messages():
            if live.n_records >= 160:
                break
    (kept,) = recover(tmp_path)
    capture = read_capture(kept)
    assert (capture.calibration, capture.versions, capture.setup) == (calibration, versions, setup)
    assert capture.records.index.tolist() == list(range(len(capture.records)))
    assert json.loads(json.dumps(capture.calibration)) == calibration
    assert len(capture.records) >= wire.RECORDS_PER_PACKET * 10


@pytest.mark.parametrize("from_record", [0, 700])
def test_a_capture_that_stands_in_a_file_is_not_recovered_again(tmp_path: Path, from_record: int) -> None:
    """Killed after the file was written and before its journal went: it came twice."""
    capture = sweep(tmp_path)
    journal = Path(capture.journal)
    whole = journal.read_bytes()
    kept = write_capture(tmp_path / "S1.sweep", replace(capture, records=capture.records[from_record:]))
    journal.write_bytes(whole)
    assert recover(tmp_path) == []
    assert [p.name for p in tmp_path.iterdir()] == ["S1.sweep"]
    assert len(read_capture(Path(kept.path)).records) == len(capture.records) - from_record


def test_a_like_capture_of_another_journal_is_recovered(tmp_path: Path) -> None:
    """Two simulated rigs of one seed make the same records in the same second: both are kept."""
    first, second = sweep(tmp_path), sweep(tmp_path)
    write_capture(tmp_path / "S1.sweep", first)
    locks.let_go(Path(second.journal))
    assert len(recover(tmp_path)) == 1
    assert len(list(tmp_path.glob("*.sweep"))) == 2
