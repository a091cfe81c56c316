"""A journal whose first line is damaged: the line stands twice; without both, what is behind is counted and kept."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from typer.testing import CliRunner

from support.fake_rig import FakeRig
from sweeprig.capture.assemble import capture_of_journal
from sweeprig.capture.file import read_capture, write_capture
from sweeprig.capture.locks import let_go
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.capture.sweep import recover, run_sweep
from sweeprig.cli.main import app
from sweeprig.errors import CaptureFileError
from sweeprig.link.client import RigClient
from sweeprig.words import Hookup

SETUP = SweepSetup(seconds=0.5, sensor_label="shelf 3", notes="seen again 3 times", track_ohm=4700.0)


def swept(folder: Path) -> Capture:
    rig = FakeRig()
    return run_sweep(RigClient(rig, clock=rig.clock), SETUP, folder=folder, clock=rig.clock)


def left(folder: Path) -> tuple[Path, Capture, bytes]:
    """Return a journal that a crash left, what it holds, and its bytes."""
    capture = swept(folder)
    path = Path(capture.journal)
    let_go(path)
    return path, capture, path.read_bytes()


def test_a_damaged_byte_of_the_first_line_costs_nothing(tmp_path: Path) -> None:
    path, whole, data = left(tmp_path)
    end = data.index(b"\n")
    draw = random.Random(5)
    for at in (0, 1, end, *(draw.randrange(end) for _ in range(40))):
        damaged = bytearray(data)
        damaged[at] ^= 1 << draw.randrange(8)
        path.write_bytes(damaged)
        found = capture_of_journal(path, ended="recovered")
        assert found.setup == whole.setup
        assert found.rig == whole.rig
        assert found.records.index.tolist() == whole.records.index.tolist()


def test_a_first_line_of_zeros_is_recovered_whole(tmp_path: Path) -> None:
    path, whole, data = left(tmp_path)
    end = data.index(b"\n")
    path.write_bytes(bytes(end) + data[end:])
    (found,) = recover(tmp_path)
    assert read_capture(found).records.index.tolist() == whole.records.index.tolist()


def test_damage_of_the_second_line_costs_nothing(tmp_path: Path) -> None:
    path, whole, data = left(tmp_path)
    first = data.index(b"\n")
    second = data.index(b"\n", first + 1)
    for at in range(first + 1, second + 1, 37):
        damaged = bytearray(data)
        damaged[at] ^= 0x55
        path.write_bytes(damaged)
        found = capture_of_journal(path, ended="recovered")
        assert found.setup == whole.setup
        assert len(found.records) == len(whole.records)


def beheaded(folder: Path) -> tuple[Path, Capture, bytes]:
    """Return a journal both of whose lines are damaged."""
    path, whole, data = left(folder)
    second = data.index(b"\n", data.index(b"\n") + 1)
    damaged = bytes(second) + data[second:]
    path.write_bytes(damaged)
    return path, whole, damaged


def test_without_both_lines_what_is_behind_is_counted_and_kept(tmp_path: Path) -> None:
    path, whole, damaged = beheaded(tmp_path)
    heard: list[tuple[Path, str]] = []
    assert recover(tmp_path, on_unusable=lambda *told: heard.append(told)) == []
    ((aside, reason),) = heard
    assert aside.read_bytes() == damaged
    assert int(reason.partition("Behind it are ")[2].split()[0]) >= len(whole.records)
    assert "no data" not in reason
    assert f"sweeprig recover {aside} --like" in reason
    assert not path.exists()


def test_a_capture_of_the_same_rig_lends_its_first_line(tmp_path: Path) -> None:
    _, whole, damaged = beheaded(tmp_path)
    recover(tmp_path)
    (aside,) = tmp_path.glob("*.journal-unusable")
    like = tmp_path / "other.sweep"
    write_capture(like, swept(tmp_path))
    done = CliRunner().invoke(app, ["recover", str(aside), "--like", str(like)])
    assert done.exit_code == 0, done.output
    (found,) = set(tmp_path.glob("*.sweep")) - {like}
    capture = read_capture(found)
    assert capture.records.index.tolist()[: len(whole.records)] == whole.records.index.tolist()
    assert (capture.setup.hookup, capture.setup.track_ohm) == (Hookup.POWERED, 4700.0)
    assert (capture.setup.sensor_label, capture.setup.notes) == ("", "")  # of another sensor
    assert any("other.sweep" in line for line in capture.setup.prepared)
    assert aside.read_bytes() == damaged


def test_a_line_is_lent_to_no_whole_journal_and_to_nothing_else(tmp_path: Path) -> None:
    path, _, _ = left(tmp_path)
    like = tmp_path / "other.sweep"
    write_capture(like, swept(tmp_path))
    done = CliRunner().invoke(app, ["recover", str(path), "--like", str(like)])
    assert "is whole" in str(done.exception)
    path.write_bytes(b"\0" * 500)
    with pytest.raises(CaptureFileError, match="not one whole record"):
        CliRunner().invoke(app, ["recover", str(path), "--like", str(like)], catch_exceptions=False)
