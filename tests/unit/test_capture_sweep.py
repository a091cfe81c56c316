"""Timed sweeps on a fake rig: timed by the record index, kept whatever ends them, journalled as they come."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from support.fake_rig import Clock, FakeRig
from support.full_disk import disk_with
from sweepboard import wire
from sweeprig.capture import journal as journal_module
from sweeprig.capture.assemble import capture_of_journal
from sweeprig.capture.file import read_capture, write_capture
from sweeprig.capture.live import start_capture
from sweeprig.capture.locks import let_go
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.capture.sweep import Progress, recover, run_sweep
from sweeprig.errors import BoardRefusedError, BoardSilentError, CaptureFileError, InputError, PortLostError
from sweeprig.link.client import RigClient
from sweeprig.link.messages import BoardText, Mark, Message

SETUP = SweepSetup(seconds=1.0, operator="tester", serial="S1")
WINDOW_S = wire.WINDOW * wire.CHANNELS / wire.CONVERSION_HZ


def when() -> datetime:
    return datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC)


def sweep(rig: FakeRig, folder: Path, setup: SweepSetup = SETUP, **more: Any) -> Capture:
    client = RigClient(rig, clock=rig.clock)
    return run_sweep(client, setup, folder=folder, clock=rig.clock, now=when, **more)


def journals(folder: Path) -> list[Path]:
    return sorted(folder.glob("*.journal"))


def test_a_sweep_is_as_long_as_the_index_says(tmp_path: Path) -> None:
    rig = FakeRig()
    seen: list[Progress] = []
    capture = sweep(rig, tmp_path, progress=seen.append, versions={"sweeprig": "x"})
    n = round(1.0 / WINDOW_S)
    assert len(capture.records) == n
    assert capture.records.index.tolist() == list(range(n))
    assert (capture.records.sums[:, 0] == (np.arange(n) % 4000) * wire.WINDOW).all()
    assert (capture.ended, capture.n_lost, capture.bad_frames) == ("complete", 0, 0)
    assert capture.window_s == pytest.approx(WINDOW_S)
    assert capture.created == "2026-01-02T03:04:05+00:00"
    assert capture.rig["uid"] == "00ff"
    assert capture.setup == SETUP
    assert capture.versions == {"sweeprig": "x"}
    assert rig.commands[-1]["cmd"] == "stop"
    assert [p.n_records for p in seen] == sorted({p.n_records for p in seen})
    assert seen[-1].seconds >= 1.0 > seen[-2].seconds
    assert seen[-1].wanted_s == 1.0


def test_the_hosts_clock_has_no_say(tmp_path: Path) -> None:
    rig = FakeRig()
    client = RigClient(rig, clock=rig.clock)
    still = Clock()  # does not move at all
    capture = run_sweep(client, SETUP, folder=tmp_path, clock=still, now=when)
    assert len(capture.records) == round(1.0 / WINDOW_S)


def test_lost_records_leave_their_place_and_count_as_time(tmp_path: Path) -> None:
    rig = FakeRig()
    rig.drop = {10: 5, 20: 3}
    last: list[Progress] = []
    capture = sweep(rig, tmp_path, progress=last.append)
    assert capture.n_lost == (5 + 3) * wire.RECORDS_PER_PACKET
    assert last[-1].n_lost == capture.n_lost
    n = round(1.0 / WINDOW_S)
    assert len(capture.records) == n - capture.n_lost
    assert capture.records.index[-1] == n - 1
    jumps = np.flatnonzero(np.diff(capture.records.index) > 1) + 1
    assert jumps.tolist() == [160, 320]


def test_stop_keeps_what_came(tmp_path: Path) -> None:
    rig = FakeRig()
    capture = sweep(rig, tmp_path, stop=lambda: rig._index >= 480)
    assert capture.ended == "stopped"
    assert 480 <= len(capture.records) < 600
    assert rig.commands[-1]["cmd"] == "stop"


def test_ctrl_c_keeps_what_came(tmp_path: Path) -> None:
    def interrupt(p: Progress) -> None:
        if p.n_records >= 320:
            raise KeyboardInterrupt

    capture = sweep(FakeRig(), tmp_path, progress=interrupt)
    assert capture.ended == "stopped"
    assert len(capture.records) >= 320


def test_unplugging_half_way_leaves_a_usable_capture(tmp_path: Path) -> None:
    rig = FakeRig()
    rig.lost_after = 20
    capture = sweep(rig, tmp_path)
    assert capture.ended == "unplugged"
    assert len(capture.records) == 20 * wire.RECORDS_PER_PACKET
    saved = write_capture(tmp_path / "half.sweep", capture)
    assert len(read_capture(Path(saved.path)).records) == 320


def test_a_stream_that_falls_silent_ends(tmp_path: Path) -> None:
    rig = FakeRig()
    rig.n_packets = 7
    capture = sweep(rig, tmp_path)
    assert capture.ended == "silent"
    assert len(capture.records) == 7 * wire.RECORDS_PER_PACKET
    assert rig.clock.now < 100 + 0.2 + 3.3  # given up soon, by the clock that was handed in


def test_nothing_at_all_is_an_error_and_leaves_no_journal(tmp_path: Path) -> None:
    silent = FakeRig()
    silent.n_packets = 0
    silent.says = b"out of memory\r\n"
    with pytest.raises(BoardSilentError, match="no record"):
        sweep(silent, tmp_path)
    gone = FakeRig()
    gone.lost_after = 0
    client = RigClient(gone, clock=gone.clock)
    gone.lost_after = None
    client.hello()
    client.start()
    gone.lost_after = 0
    with pytest.raises(PortLostError):
        run_sweep(client, SETUP, folder=tmp_path, clock=gone.clock, now=when)
    assert journals(tmp_path) == []


def test_a_refused_start_leaves_no_journal(tmp_path: Path) -> None:
    rig = FakeRig()
    rig.refuse["start"] = ("refused", "hookup not fitted")
    with pytest.raises(BoardRefusedError, match="hookup not fitted"):
        sweep(rig, tmp_path)
    assert journals(tmp_path) == []


@pytest.mark.parametrize("seconds", [0.0, -1.0, float("nan"), float("inf"), 1e6])
def test_a_length_that_does_not_fit_is_refused(tmp_path: Path, seconds: float) -> None:
    with pytest.raises(InputError, match="--seconds"):
        sweep(FakeRig(), tmp_path, SweepSetup(seconds=seconds))


def test_stream_left_by_another_program_is_stopped_first(tmp_path: Path) -> None:
    rig = FakeRig()
    rig.streaming, rig._index = True, 100_000
    client = RigClient(rig, clock=rig.clock)
    client.poll(1.0)
    capture = run_sweep(client, SETUP, folder=tmp_path, clock=rig.clock, now=when)
    assert [c["cmd"] for c in rig.commands] == ["hello", "stop", "start", "stop"]
    assert capture.records.index[0] == 0


def test_a_board_that_begins_anew_ends_the_capture_there(tmp_path: Path) -> None:
    rig = FakeRig()

    def reset(p: Progress) -> None:
        if 160 <= p.n_records < 176 and rig._index:
            rig._index, rig.says = 0, b"MicroPython v1.22.0; a board\r\n"

    capture = sweep(rig, tmp_path, progress=reset)
    assert capture.ended == "restarted"
    assert capture.records.index.tolist() == list(range(160))


# --- journal


def test_bytes_are_on_disk_before_anyone_hears_of_them(tmp_path: Path) -> None:
    sizes: list[int] = []

    def look(p: Progress) -> None:
        (path,) = journals(tmp_path)
        on_disk = capture_of_journal(path, ended="recovered")
        assert len(on_disk.records) == min(p.n_records, round(1.0 / WINDOW_S))
        sizes.append(path.stat().st_size)

    capture = sweep(FakeRig(), tmp_path, progress=look)
    assert sizes == sorted(set(sizes))
    assert journals(tmp_path) == [Path(capture.journal)]
    write_capture(tmp_path / "a.sweep", capture)
    assert journals(tmp_path) == []


def test_a_journal_cut_at_any_byte_gives_what_was_whole(tmp_path: Path) -> None:
    capture = sweep(FakeRig(), tmp_path, SweepSetup(seconds=0.05))
    data = Path(capture.journal).read_bytes()
    Path(capture.journal).unlink()
    head = data.index(b"\n") + 1
    frame = data.index(b"\0\0", head) + 1  # the first frame is the reply
    path = tmp_path / "cut.journal"
    counts = []
    for size in range(len(data)):
        path.write_bytes(data[:size])
        if size < head:
            with pytest.raises(CaptureFileError, match="ends inside its first line"):
                capture_of_journal(path, ended="recovered")
            continue
        part = capture_of_journal(path, ended="recovered")
        n = len(part.records)
        assert part.records.index.tolist() == capture.records.index[:n].tolist()
        assert part.setup == capture.setup
        counts.append(n)
    assert counts == sorted(counts)
    assert set(counts) == {0, 16, 32, 48, 50}
    assert counts[frame - head] == 0


def test_recover_turns_what_a_crash_left_into_a_capture(tmp_path: Path) -> None:
    whole = sweep(FakeRig(), tmp_path)
    path = Path(whole.journal)
    let_go(path)  # as when its program ends
    path.write_bytes(path.read_bytes()[:-200])
    found = recover(tmp_path)
    assert found == [path.with_suffix(".sweep")]
    capture = read_capture(found[0])
    assert capture.ended == "recovered"
    assert 900 < len(capture.records) <= len(whole.records)
    assert (capture.setup, capture.rig, capture.created) == (whole.setup, whole.rig, whole.created)
    assert journals(tmp_path) == []
    assert recover(tmp_path) == []


def test_recover_never_writes_over_a_capture(tmp_path: Path) -> None:
    for _ in range(2):
        let_go(Path(sweep(FakeRig(), tmp_path).journal))
        recover(tmp_path)
    assert len(list(tmp_path.glob("*.sweep"))) == 2


def test_recover_leaves_a_journal_alone_that_is_being_written(tmp_path: Path) -> None:
    rig = FakeRig()
    client = RigClient(rig, clock=rig.clock)
    with start_capture(client, SETUP, folder=tmp_path, clock=rig.clock, now=when) as live:
        next(live.messages())
        assert recover(tmp_path) == []
        (left,) = journals(tmp_path)
        assert left.stat().st_size > 0
    assert len(recover(tmp_path)) == 1


def test_recover_puts_aside_what_holds_nothing_and_says_why_once(tmp_path: Path) -> None:
    (tmp_path / "a.journal").write_bytes(b"")
    (tmp_path / "b.journal").write_bytes(b'{"format":"sweeprig-journal"')
    (tmp_path / "c.journal").write_bytes(b"[1]\nxxxx")
    told: list[tuple[str, str]] = []
    assert recover(tmp_path, on_unusable=lambda path, why: told.append((path.name, why))) == []
    assert [name for name, _ in told] == ["a.journal-unusable", "b.journal-unusable", "c.journal-unusable"]
    assert all("first line" in why for _, why in told)
    assert (tmp_path / "b.journal-unusable").read_bytes() == b'{"format":"sweeprig-journal"'
    assert recover(tmp_path, on_unusable=lambda *_: pytest.fail("told twice")) == []


def test_recover_where_there_is_no_folder() -> None:
    assert recover(Path("/no/such/folder")) == []


def test_a_full_disk_is_told_and_what_came_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(journal_module.os, "write", disk_with(3000))
    with pytest.raises(CaptureFileError, match="No space left"):
        sweep(FakeRig(), tmp_path)
    monkeypatch.undo()
    (path,) = recover(tmp_path)
    assert len(read_capture(path).records) >= 16


def test_the_disk_itself_is_told_every_second(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    synced: list[int] = []
    monkeypatch.setattr(journal_module.os, "fsync", synced.append)
    sweep(FakeRig(), tmp_path, SweepSetup(seconds=5.0))
    assert 5 <= len(synced) <= 7


def seen_marks(messages: list[Message]) -> bool:
    return any(isinstance(m, Mark) for m in messages)


def test_an_open_end_yields_messages_until_stopped(tmp_path: Path) -> None:
    rig = FakeRig()
    client = RigClient(rig, clock=rig.clock)
    seen: list[Message] = []
    with start_capture(client, SETUP, folder=tmp_path, clock=rig.clock, now=when) as live:
        for messages in live.messages():
            seen += messages
            if live.n_windows == 160 and not seen_marks(seen):
                rig.send(wire.MARK, b"\0\0\1\0", 150)
                rig.says = b"button\r\n"
            if live.seconds > 2.0:
                live.stop()
        capture = live.finish(coaching=("slow open",))
    assert capture.ended == "stopped"
    assert capture.coaching == ("slow open",)
    assert capture.marks == (Mark(150, 0, 1),)
    assert capture.board_text == ("button",)
    assert BoardText("button") in seen
    assert len(capture.records) * WINDOW_S > 2.0


def test_a_file_that_is_no_journal_is_never_renamed(tmp_path: Path) -> None:
    notes = tmp_path / "notes.txt"
    notes.write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="not a journal"):
        recover(notes)
    assert notes.read_text(encoding="utf-8") == "mine"
    assert [p.name for p in tmp_path.iterdir()] == ["notes.txt"]
