"""Signals and a closed terminal: the program ends, and the sensor is off before it does."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from support.scripted_rig import ScriptedRig, client_of, sensor
from support.terminal import Terminal
from sweeprig.bench.hookup.way_out import EndedBySignal, held_back, unwinding
from sweeprig.bench.session import session
from sweeprig.capture.model import SweepSetup

COMMANDS = {
    "countdown": ("sweep", "--seconds", "5", "--countdown", "30", "--sheet", "none"),
    "capture": ("sweep", "--countdown", "0", "--seconds", "3600", "--sheet", "none"),
    "series": ("sweep", "--series", "--sheet", "none"),
    "watch": ("watch",),
    "wiggle": ("wiggle", "--seconds", "3600", "--sheet", "none"),
    "check": ("check", "--lead", "--lead-ratio", "0.1"),
}
SIMULATED = ("--port", "sim://good?seed=3")


@pytest.fixture
def started(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., Terminal]]:
    """Start a command on a terminal of its own and wait until its sensor is fed and it has come this far."""
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parents[1]), prepend=os.pathsep)
    opened: list[Terminal] = []

    def start(name: str, *more: str) -> Terminal:
        log = tmp_path / "log"
        port = SIMULATED if name == "countdown" else ()  # a scripted rig's clock counts down at once
        args = (
            "-m",
            "support.session_child",
            str(log),
            *COMMANDS[name],
            "--confirm",
            "plug-off",
            *port,
            *more,
        )
        opened.append(Terminal(*args, home=tmp_path / "home"))
        if name == "series":
            opened[0].until(lambda t: "serial: _" in t.text()).send("\r")
        return opened[0].until(lambda t: has_come(name, log, t))

    yield start
    for terminal in opened:
        terminal.close()


def done_by(log: Path) -> list[str]:
    return log.read_text().splitlines() if log.exists() else []


def has_come(name: str, log: Path, terminal: Terminal) -> bool:
    done = done_by(log)
    if name == "countdown":
        return "Sweep begins in" in terminal.text()
    if name == "check":
        return "Now shake" in terminal.text()
    return sum(line.startswith("start") for line in done) == 2


def is_off(log: Path) -> bool:
    done = done_by(log)
    return "supply True" in done and done[-3:] == ["supply False", "burden False", "bias off"]


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
@pytest.mark.parametrize("name", COMMANDS)
def test_signal_switches_off_before_the_program_ends(
    name: str, number: signal.Signals, started: Callable[..., Terminal], tmp_path: Path
) -> None:
    terminal = started(name)
    os.kill(terminal.process.pid, number)
    assert terminal.end() == 128 + number
    assert is_off(tmp_path / "log")
    assert terminal.restored
    if name in ("capture", "wiggle"):
        assert list((tmp_path / "home" / "captures").glob("*.journal")), "kept for the next run to recover"


@pytest.mark.parametrize("name", COMMANDS)
def test_closed_terminal_switches_off(name: str, started: Callable[..., Terminal], tmp_path: Path) -> None:
    assert started(name).hang_up() == 128 + signal.SIGHUP
    assert is_off(tmp_path / "log")


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
@pytest.mark.parametrize("command", [("guide",), ("sweep", "--series", "--sheet", "none")])
def test_a_signal_at_a_question_unwinds_the_program(
    number: signal.Signals, command: tuple[str, ...], tmp_path: Path
) -> None:
    terminal = Terminal("-m", "sweeprig", *command, *SIMULATED, home=tmp_path)
    try:
        if "--series" in command:  # takes keys as they come
            terminal.until(lambda t: "Ctrl-D ends." in t.text())
        else:
            terminal.until_asked("b or v:")
        os.kill(terminal.process.pid, number)
        assert terminal.end() == 128 + number
        assert terminal.restored
    finally:
        terminal.close()


def test_simulated_board_is_off_after_a_signal(started: Callable[..., Terminal], tmp_path: Path) -> None:
    terminal = started("capture", *SIMULATED)
    os.kill(terminal.process.pid, signal.SIGTERM)
    assert terminal.end() == 128 + signal.SIGTERM
    assert is_off(tmp_path / "log")


@pytest.mark.parametrize(
    ("number", "error"), [(signal.SIGTERM, EndedBySignal), (signal.SIGINT, KeyboardInterrupt)]
)
def test_signals_wait_while_the_rig_lets_go(number: signal.Signals, error: type[BaseException]) -> None:
    done: list[str] = []

    def let_go() -> None:
        with unwinding(), held_back():
            signal.raise_signal(number)
            done.append("let go")

    with pytest.raises(error):
        let_go()
    assert done == ["let go"]


def test_second_signal_does_not_stop_the_way_out() -> None:
    done: list[str] = []

    def leave() -> None:
        with unwinding():
            try:
                signal.raise_signal(signal.SIGTERM)
            finally:
                signal.raise_signal(signal.SIGHUP)
                done.append("let go")

    with pytest.raises(EndedBySignal):
        leave()
    assert done == ["let go"]


def test_ignored_hang_up_stays_ignored() -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with unwinding():
            signal.raise_signal(signal.SIGHUP)
    finally:
        assert signal.signal(signal.SIGHUP, before) is signal.SIG_IGN


def test_session_in_a_thread_handles_no_signal_and_lets_go() -> None:
    """A page runs its sessions in threads; signals reach the main thread only."""
    rig, before = ScriptedRig(sensor()), signal.getsignal(signal.SIGTERM)
    setup = SweepSetup(confirmed=("plug-off: said",))

    def looked() -> tuple[bool, object]:
        with session(client_of(rig), setup, calibrations=Path("no-calibrations")):
            return rig.out.supply, signal.getsignal(signal.SIGTERM)

    with ThreadPoolExecutor(1) as threads:
        assert threads.submit(looked).result() == (True, before)
    assert not rig.out.supply
