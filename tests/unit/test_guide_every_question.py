"""Every question of the guide: Enter and other words are asked again, n goes back, Ctrl-C and no input end it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner, Result

from support.outcomes import outcome
from sweeprig.analysis.model import Cause, Code, Finding
from sweeprig.bench.hookup.cautions import SYSTEM_24
from sweeprig.bench.sweep.sweep import SweepDone
from sweeprig.cli import sweeping
from sweeprig.cli.asking import asking
from sweeprig.cli.commands import guide as command
from sweeprig.cli.commands.aim import AimOptions, _read
from sweeprig.cli.console import StoppedError
from sweeprig.cli.guided_job import Job
from sweeprig.cli.main import app
from sweeprig.errors import InputError

FREE = ("label", "Job or order")  # any text answers these
AGAIN = ("counts.", "This is not a resistance.")
MARGIN = Finding(Code.MARGIN_CLOSED, Cause.MOUNTING, 0, None, "too near", "Turn it.")
YES = "y"
BENCH = ("b", "shelf 3", "", YES, YES, YES, "n", YES, YES)  # up to the sweep, lever back at closed
TURNED = (*BENCH, YES, YES, YES, YES, YES)
OHMS = ("4.87k", "600", "4.3k", "4.87k", "4.1k", "800")
MEASURED = ("b", "", "", "n", YES, *OHMS, YES, YES, "n", YES, YES, "n")
HYBRID = ("v", "h", "?", "", "", YES, *[YES] * 13, YES, "n", YES, "n")


class Keyboard:
    """Answers prompts in the place of a person; a string is typed, an exception is what the terminal raises."""

    def __init__(self, answers: list[str | type[BaseException]]) -> None:
        self.answers = answers
        self.prompts: list[str] = []

    def prompt(self, text: str, **_: Any) -> str:
        """Stand for typer.prompt."""
        self.prompts.append(text)
        if not self.answers:
            raise AssertionError(f"asked for more: {text}")
        answer = self.answers.pop(0)
        if isinstance(answer, str):
            return answer
        try:
            raise answer
        except (KeyboardInterrupt, EOFError):
            raise typer.Abort  # noqa: B904  # as click does


@dataclass
class Bench:
    """Commands that a guide runs, without a rig: each asks what it asks, and ends as a badly mounted sensor has it."""

    asks: Callable[[], object] = lambda: None
    ran: list[str] = field(default_factory=list)

    def run(self, arguments: list[str]) -> int:
        """Run one command."""
        self.ran.append(arguments[0])
        if arguments[0] == "pins":
            return int(app(args=arguments, standalone_mode=False) or 0)
        if arguments[0] == "sweep":
            sweeping.finished.append(SweepDone(outcome(worn=True, findings=(MARGIN,)), Path("a.sweep"), ()))
        if arguments[0] == "check":
            self.asks()
        if arguments[0] == "aim":
            _read(AimOptions(port="/dev/x"))
        return 0


def guided(
    monkeypatch: pytest.MonkeyPatch, *answers: str | type[BaseException], bench: Bench | None = None
) -> tuple[Result, Keyboard, Bench]:
    keyboard, bench = Keyboard(list(answers)), bench or Bench()
    monkeypatch.setattr(typer, "prompt", keyboard.prompt)
    monkeypatch.setattr(command, "_look_for", lambda _port: None)
    monkeypatch.setattr(command, "Job", lambda _run, port: Job(bench.run, port))
    return CliRunner().invoke(app, ["guide", "--port", "/dev/x"]), keyboard, bench


def times(path: tuple[str, ...], but: range = range(0)) -> list[Any]:
    return [pytest.param(path, k, id=f"{path[0]}{len(path)}-{k}") for k in range(len(path)) if k not in but]


EVERY = [*times(TURNED), *times(MEASURED), *times(HYBRID, but=range(8, 18))]  # its conditions are all alike


@pytest.mark.parametrize("path", [TURNED, MEASURED, HYBRID])
def test_each_path_comes_to_its_end(path: tuple[str, ...], monkeypatch: pytest.MonkeyPatch) -> None:
    done, keyboard, bench = guided(monkeypatch, *path)
    assert done.exit_code == 0, done.output
    assert "The same job without the guide:" in done.stderr
    assert not keyboard.answers, done.stderr[-1500:]
    assert bench.ran[-1] == ("aim" if path is TURNED else "sweep")


@pytest.mark.parametrize(("path", "at"), EVERY)
def test_enter_and_nonsense_are_asked_again(
    path: tuple[str, ...], at: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, before, _ = guided(monkeypatch, *path)
    if any(text in before.prompts[at] for text in FREE):
        return
    wrong = ("", "maybe", "yn", "0x")
    done, keyboard, _ = guided(monkeypatch, *path[:at], *wrong, *path[at:])
    assert done.exit_code == 0, done.output
    assert sum(done.stderr.count(text) for text in AGAIN) == len(wrong)
    assert keyboard.prompts[at : at + 5] == [keyboard.prompts[at]] * 5
    assert keyboard.prompts[:at] + keyboard.prompts[at + 4 :] == before.prompts


@pytest.mark.parametrize(("path", "at"), EVERY)
def test_ctrl_c_ends_it_and_says_what_is_kept(
    path: tuple[str, ...], at: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    done, keyboard, bench = guided(monkeypatch, *path[:at], KeyboardInterrupt)
    assert isinstance(done.exception, StoppedError)
    assert str(done.exception) == ("kept: a.sweep" if "sweep" in bench.ran else "nothing was saved")
    assert len(keyboard.prompts) == at + 1


@pytest.mark.parametrize(("path", "at"), EVERY)
def test_the_end_of_the_input_ends_it(
    path: tuple[str, ...], at: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    done, _, bench = guided(monkeypatch, *path[:at], *[EOFError] * 3)
    assert isinstance(done.exception, InputError)
    assert "end of input" in str(done.exception)
    assert f"stopped; {'kept: a.sweep' if 'sweep' in bench.ran else 'nothing was saved'}." in done.stderr


@pytest.mark.parametrize(("path", "first", "n"), [(TURNED, 4, 2), (TURNED, 10, 4), (HYBRID, 6, 13)])
def test_n_at_a_condition_goes_one_back_and_not_out(
    path: tuple[str, ...], first: int, n: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    for at in range(first, first + n):
        again = (YES,) if at > first else ()
        done, keyboard, _ = guided(monkeypatch, *path[:at], "n", *again, *path[at:])
        assert done.exit_code == 0, done.output
        assert done.stderr.count("Do this first, then answer y.") == 1
        shown = f"\n{max(1, at - first)} of {n}:"
        assert done.stderr.count(shown) == 2, shown
        assert not keyboard.answers


def test_n_to_a_question_of_fact_is_its_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    took: list[bool] = []
    bench = Bench(asks=lambda: took.append(asking(None).confirm(SYSTEM_24)))
    path = (*BENCH[:6], "", "n", *BENCH[6:], "n")
    done, _, _ = guided(monkeypatch, *path, bench=bench)
    assert done.exit_code == 0, done.output
    assert took == [False]


def test_what_a_command_wants_secured_is_asked_as_the_guide_asks(monkeypatch: pytest.MonkeyPatch) -> None:
    from sweeprig.bench.hookup.cautions import SECURED

    took: list[bool] = []
    bench = Bench(asks=lambda: took.append(asking(None).confirm(SECURED)))
    path = (*BENCH[:6], "", "n", "y", *BENCH[6:], "n")
    done, _, _ = guided(monkeypatch, *path, bench=bench)
    assert done.exit_code == 0, done.output
    assert took == [True]
    assert "[y/N]" not in done.stderr
