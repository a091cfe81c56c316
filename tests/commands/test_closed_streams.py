"""Output that is closed, full or no longer read: no traceback, a status of ours, and a capture that is kept."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from sweeprig.capture.file import read_capture
from sweeprig.errors import FileError

pytestmark = pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")

SWEEP = ("sweep", "--seconds", "5", "--countdown", "0", "--port", "sim://{}?pace=fast&vm=cpython&seed=3")
CLOSED = (">&-", ">&- 2>&- <&-")
FULL = (">/dev/full", ">/dev/full 2>/dev/full")


def run(how: str, *args: str, home: Path) -> subprocess.CompletedProcess[str]:
    """Run a command in a shell; what leads elsewhere is seen neither on output nor on error."""
    environment = {**os.environ, "SWEEPRIG_HOME": str(home)}
    environment.pop("PYTHONUNBUFFERED", None)
    return subprocess.run(
        ["sh", "-c", f'exec "$@" {how}', "sh", sys.executable, "-m", "sweeprig", *args],
        env=environment, capture_output=True, text=True, timeout=240, check=False,
    )  # fmt: skip


@pytest.mark.parametrize("how", [*CLOSED, *FULL, "2>&-", "2>/dev/full"])
@pytest.mark.parametrize(
    "command", ["--help", "--version", "config show", "nonsense", "review nothing.sweep"]
)
def test_output_that_leads_nowhere_is_no_traceback(command: str, how: str, tmp_path: Path) -> None:
    reached = {"nonsense": 2, "review nothing.sweep": FileError.exit_code}.get(command, 0)
    wanted = FileError.exit_code if how in FULL and not reached else reached
    done = run(how, *command.split(), home=tmp_path)
    assert done.returncode == wanted, done.stderr
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr
    if wanted == FileError.exit_code and how == ">/dev/full" and not reached:
        assert "The result could not be printed." in done.stderr
        assert "No space left on device" in done.stderr


def test_error_lines_never_come_among_the_results(tmp_path: Path) -> None:
    assert (
        run("2>&-", "config", "show", home=tmp_path).stdout == run("", "config", "show", home=tmp_path).stdout
    )


def test_a_reader_that_has_seen_enough_changes_no_status(tmp_path: Path) -> None:
    read, write = os.pipe()
    os.close(read)
    command = [sys.executable, "-m", "sweeprig", "profile", "list"]
    done = subprocess.run(command, stdout=write, stderr=subprocess.PIPE, text=True, timeout=240, check=False)
    os.close(write)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_watch_ends_once_nobody_reads_it(tmp_path: Path) -> None:
    watch = f'"{sys.executable}" -m sweeprig watch --port "sim://good?pace=fast&vm=cpython" | head -1'
    environment = {**os.environ, "SWEEPRIG_HOME": str(tmp_path)}
    done = subprocess.run(
        ["sh", "-c", watch], env=environment, capture_output=True, text=True, timeout=240, check=False
    )
    assert "Traceback" not in done.stderr
    assert len(done.stdout.splitlines()) == 1


@pytest.mark.parametrize(
    ("how", "sensor", "status"), [(">&- 2>&- <&-", "worn", 10), (">/dev/full 2>/dev/full", "good", 4)]
)
def test_a_sweep_that_cannot_be_shown_is_kept_whole(
    how: str, sensor: str, status: int, tmp_path: Path
) -> None:
    done = run(how, *(part.format(sensor) for part in SWEEP), home=tmp_path)
    assert done.returncode == status
    (file,) = tmp_path.rglob("*.sweep")
    assert read_capture(file).n_lost == 0
    assert list(tmp_path.rglob("*.html"))
    assert not list(tmp_path.rglob("*.journal"))
