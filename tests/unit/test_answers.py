"""What counts as an answer: anything else is asked again, with the keys or values that do."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace

import pytest
import typer
from typer.testing import CliRunner, Result

from sweeprig.bench.calibration.points import parse_reading
from sweeprig.cli.asking import confirmed
from sweeprig.cli.calibration.take import _reading as reading
from sweeprig.cli.commands import aim
from sweeprig.errors import InputError


def asked(question: Callable[[], object], *lines: str) -> Result:
    step = typer.Typer()
    step.command()(lambda: print(f"took {question()}"))
    return CliRunner().invoke(step, [], input="".join(f"{line}\n" for line in lines))


@pytest.mark.parametrize(
    ("word", "took"), [("y", True), ("YES", True), ("n", False), ("no", False), ("", False)]
)
def test_a_confirmation_takes_yes_or_no(word: str, took: bool) -> None:
    done = asked(lambda: confirmed("Confirm: so it is."), word)
    assert done.stdout.endswith(f"took {took}\n")
    assert "Only" not in done.stderr


def test_another_word_is_no_confirmation_and_is_asked_again() -> None:
    done = asked(lambda: confirmed("Confirm: so it is."), "maybe", "x", "y")
    assert done.stderr.count("Only y or n counts.") == 2
    assert done.stderr.count("Confirm: so it is. [y/N]:") == 3
    assert done.stdout.endswith("took True\n")


def test_enter_alone_is_no_reading_of_a_meter() -> None:
    done = asked(lambda: reading("Meter reads", 10.0), "", "nan", "2.5")
    assert done.stderr.count("This is not a voltage.") == 2
    assert "Seen: nothing." in done.stderr
    assert done.stdout.endswith("took 2.5\n")


@pytest.mark.parametrize("text", ["nan", "", "x", "NaN V"])
def test_what_is_no_number_is_no_voltage(text: str) -> None:
    with pytest.raises(InputError, match="not a voltage"):
        parse_reading(text, range_v=10.0)


@pytest.mark.parametrize(("word", "took"), [("y", "slotted"), ("n", "fixed")])
def test_the_mount_is_asked_for_until_y_or_n(word: str, took: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(aim, "sys", SimpleNamespace(stdin=SimpleNamespace(isatty=lambda: True)))
    done = asked(lambda: aim._mount(""), "", "slottet", word)
    assert done.stderr.count("Only y or n counts.") == 2
    assert done.stdout.endswith(f"took {took}\n")
