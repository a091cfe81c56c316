"""The campaign counts what it should: an error of ours is an answer, any other exception a loss with its seed."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest
from tests.campaign.__main__ import attacks
from tests.campaign.tally import CannotBeTriedError, Try, lines, run

from sweeprig.errors import InputError


def attack(folder: Path) -> Try:
    del folder

    def attempt(random: Random, own: Path) -> str:
        assert own.is_dir()
        drawn = random.random()
        if drawn < 0.3:
            raise InputError("This is refused.")
        if drawn < 0.5:
            raise ZeroDivisionError("by nothing")
        return "lost something" if drawn < 0.6 else ""

    return attempt


def test_losses_are_counted_and_made_again_by_their_seed(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    done = run("x", attack, tmp_path / "a", tries=200, seed=4)
    drawn = [Random(f"x-4-{n}").random() for n in range(200)]
    lost = [f"x-4-{n}" for n, d in enumerate(drawn) if 0.3 <= d < 0.6]
    assert [loss.seed for loss in done.losses] == lost
    assert {loss.what[:17] for loss in done.losses} == {"lost something", "ZeroDivisionError"}
    assert done.tries == 200
    table = lines([done])
    assert f"{200 - len(lost):>10}{len(lost):>6}" in table[1]
    assert f"{lost[0]}:" in "".join(table)


def test_time_that_is_up_ends_an_attack(tmp_path: Path) -> None:
    times = iter(range(100))
    done = run("x", attack, tmp_path, tries=50, seed=1, seconds=5, clock=lambda: float(next(times)))
    assert 0 < done.tries < 10


def test_no_loss_has_the_exact_interval(tmp_path: Path) -> None:
    """Clopper and Pearson: with no loss in n tries the upper end is 1 - 0.025^(1/n)."""
    done = run("x", lambda _folder: lambda _random, _own: "", tmp_path, tries=59, seed=1)
    assert f"0.000 to {100 * (1 - 0.025 ** (1 / 59)):.3f} %" in done.line


def test_what_is_missing_is_said_and_counted_as_nothing(tmp_path: Path) -> None:
    def missing(_folder: Path) -> Try:
        raise CannotBeTriedError("no such program")

    done = run("x", missing, tmp_path, tries=5, seed=1)
    assert (done.tries, done.losses) == (0, ())
    assert "not tried: no such program" in done.line


@pytest.mark.parametrize("name", attacks())
def test_every_attack_says_what_it_is(name: str) -> None:
    assert (attacks()[name].__doc__ or "").strip().endswith(".")
