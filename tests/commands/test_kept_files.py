"""Commands that write files: nothing is replaced without being asked, and what a crash left is found by name."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from sweeprig.bench.shop.records import write_export
from sweeprig.capture.file import read_capture, write_capture
from sweeprig.capture.sweep import recover
from sweeprig.errors import ExportError, InputError
from sweeprig.report.exports import into
from sweeprig.twin.capture import capture_of


def ours(*args: str, home: Path) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "SWEEPRIG_HOME": str(home)}
    return subprocess.run(
        [sys.executable, "-m", "sweeprig", *args],
        capture_output=True,
        text=True,
        env=env,
        timeout=90,
        check=False,
    )


def journal_of_a_killed_sweep(folder: Path, home: Path) -> Path:
    """Kill a sweep of a simulated rig in the middle of its capture."""
    port = "sim://good?pace=fast&vm=cpython&seed=3"
    command = [
        sys.executable,
        "-m",
        "sweeprig",
        "sweep",
        "--port",
        port,
        "--out",
        str(folder),
        "--seconds",
        "3000",
    ]
    command += ["--countdown", "0", "--confirm", "plug-off", "--sheet", "none"]
    env = {**os.environ, "SWEEPRIG_HOME": str(home)}
    with subprocess.Popen(command, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as child:
        while child.poll() is None and not any(p.stat().st_size > 200_000 for p in folder.glob("*.journal")):
            time.sleep(0.05)
        child.kill()
    (path,) = folder.glob("*.journal")
    return path


def test_a_killed_sweep_is_recovered_by_its_name_even_quietly(tmp_path: Path) -> None:
    folder, home = tmp_path / "elsewhere", tmp_path / "home"
    path = journal_of_a_killed_sweep(folder, home)
    assert ours("recover", home=home).returncode == InputError.exit_code  # the usual folder is not even there
    done = ours("--quiet", "recover", str(path), home=home)
    assert done.returncode == 0, done.stderr
    assert str(path.with_suffix(".sweep")) in done.stderr
    capture = read_capture(path.with_suffix(".sweep"))
    assert (capture.ended, capture.n_lost) == ("recovered", 0)
    assert len(capture.records) > 2000
    assert capture.calibration is not None
    assert capture.versions["sweeprig"]
    assert capture.setup.profile_text
    assert [p.name for p in folder.iterdir()] == [path.with_suffix(".sweep").name]
    assert "Nothing to recover" in ours("recover", str(folder), home=home).stderr


@pytest.mark.parametrize("onto", ["itself", "a link to it", "another capture"])
def test_a_sheet_replaces_no_capture(tmp_path: Path, onto: str) -> None:
    path = Path(write_capture(tmp_path / "a.sweep", capture_of("good", seconds=1.0)).path)
    other = tmp_path / "b.sweep"
    other.write_bytes(b"x")
    link = tmp_path / "link.html"
    link.symlink_to(path)
    target = {"itself": path, "a link to it": link, "another capture": other}[onto]
    before = path.read_bytes()
    done = ours("review", str(path), "--sheet", str(target), home=tmp_path)
    assert done.returncode == InputError.exit_code, done.stderr
    assert "next:" in done.stderr
    assert (path.read_bytes(), other.read_bytes(), link.is_symlink()) == (before, b"x", True)


def test_export_follows_no_link_and_is_whole_or_not_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "precious"
    target.write_text("precious")
    link = tmp_path / "out.csv"
    link.symlink_to(target)
    write_export(link, "time_s,signal_v,missing_before\r\n")
    assert (target.read_text(), link.read_bytes()) == ("precious", b"time_s,signal_v,missing_before\r\n")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(ExportError, match="No space left"):
        write_export(link, "c,d\r\n")
    assert link.read_bytes() == b"time_s,signal_v,missing_before\r\n"
    monkeypatch.undo()
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(ExportError, match="not a regular file"):
        write_export(tmp_path / "pipe", "c")


def test_what_fails_while_it_is_filled_leaves_nothing(tmp_path: Path) -> None:
    target = tmp_path / "a.csv"
    old = b"time_s,signal_v,missing_before\r\n"
    target.write_bytes(old)

    def half(part: Path) -> None:
        part.write_text("ha")
        raise OSError(28, "No space left on device")

    with pytest.raises(ExportError, match="No space left"):
        into(target, half)
    assert [(p.name, p.read_bytes()) for p in tmp_path.iterdir()] == [("a.csv", old)]


def test_what_a_kill_left_of_a_sheet_is_removed(tmp_path: Path) -> None:
    command = "import os, signal; from pathlib import Path; from sweeprig.report.exports import into;"
    command += "into(Path('a.html'), lambda part: os.kill(os.getpid(), signal.SIGKILL))"
    subprocess.run([sys.executable, "-c", command], cwd=tmp_path, check=False)
    assert len(list(tmp_path.glob(".*"))) == 1
    assert recover(tmp_path) == []
    assert list(tmp_path.iterdir()) == []
