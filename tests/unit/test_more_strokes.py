"""Asking for more strokes, and what is said where there are or will be too few."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from support.outcomes import outcome
from sweeprig.analysis.event_findings import about_events
from sweeprig.analysis.model import Event, Finding, TrackMap
from sweeprig.bench.review.card import card_of
from sweeprig.bench.sweep.pace import plan_sweep
from sweeprig.cli.main import app
from sweeprig.errors import InputError
from sweeprig.judge.checks import Check
from sweeprig.judge.model import Verdict
from sweeprig.judge.profile import load_profile
from sweeprig.report.customer import without_commands
from sweeprig.words import MOST_STROKES

PROFILE = load_profile("any-three-wire")


@pytest.mark.parametrize("asked", [3, 5, 12, MOST_STROKES])
@pytest.mark.parametrize("shortest", [1e-5, 2e-3])
def test_so_many_strokes_as_are_asked_for_fit_the_time(asked: int, shortest: float) -> None:
    plan = plan_sweep(PROFILE, shortest_dropout_s=shortest, strokes=asked)
    assert plan.strokes == asked
    assert plan.asked_s <= plan.longest_s / 1.5
    assert plan.enough
    assert plan.too_short == ""


def test_never_fewer_than_the_profile_wants() -> None:
    assert plan_sweep(PROFILE, shortest_dropout_s=1e-5, strokes=1).strokes == 3


@pytest.mark.parametrize("seconds", [2.0, 3.0])
@pytest.mark.parametrize("shortest", [1e-5, 2e-3])
def test_too_short_a_time_says_so_before_the_sweep(seconds: float, shortest: float) -> None:
    plan = plan_sweep(PROFILE, shortest_dropout_s=shortest, seconds=seconds)
    assert f"{seconds:g} s is too short for 3 strokes: with fewer the verdict is undecided." in plan.too_short
    least = float(re.search(r"From (\d+(?:\.\d)?) s on", plan.too_short)[1])  # type: ignore[index]
    assert plan_sweep(PROFILE, shortest_dropout_s=shortest, seconds=least).enough
    assert not plan_sweep(PROFILE, shortest_dropout_s=shortest, seconds=least - 0.2).enough


def stray(*, passes: int = 3) -> Finding:
    event = Event(1.0, 3e-4, 0, "to-ground", 22.0, 18.0, 0, False, False, 40.0)
    import numpy as np

    counts = np.full(50, passes)
    track = TrackMap(np.linspace(0, 100, 51), counts, counts * 0, np.full(50, 1e-4), None, None, passes)
    (found,) = about_events((event,), track, channel=0, rough=None)
    return found


def test_the_next_step_names_how_to_sweep_more() -> None:
    found = stray()
    assert found.code == "stray-dropout"
    assert "Sweep again with more slow strokes (`sweeprig sweep --strokes 12`)." in found.next_step
    assert "sweeprig" not in without_commands(found.next_step)
    more = about_events_with_more(2)
    assert "(`sweeprig sweep --strokes 5`)" in more.next_step


def about_events_with_more(more: int) -> Finding:
    import numpy as np

    event = Event(1.0, 3e-4, 0, "to-ground", 22.0, 18.0, 0, False, False, 40.0)
    counts = np.full(50, 3)
    track = TrackMap(np.linspace(0, 100, 51), counts, counts * 0, np.full(50, 1e-4), None, None, 3, more)
    (found,) = about_events((event,), track, channel=0, rough=None)
    return found


@pytest.mark.parametrize(
    ("n", "asked"), [(1, "3 slow strokes"), (2, "4 slow strokes (`sweeprig sweep --strokes 4`)")]
)
def test_a_sweep_cut_short_asks_for_one_number_of_strokes(n: int, asked: str) -> None:
    base = outcome()
    few = Check(
        "strokes",
        float(n),
        None,
        "strokes",
        3.0,
        None,
        Verdict.UNDECIDED,
        "",
        f"only {n} seen, 3 are needed: x",
    )
    judgement = replace(
        base.judgement,
        verdict=Verdict.UNDECIDED,
        reason=f"Only {n} seen, 3 are needed: x. Not decided either: stray dropout.",
        findings=(about_events_with_more(2),),
        checks=(*(c for c in base.judgement.checks if c.name != "strokes"), few),
    )
    step = card_of(replace(base, judgement=judgement)).next_step
    assert step == f"Sweep again from stop to stop: {asked}."


def sweep(*more: str) -> list[str]:
    return ["sweep", "--port", "sim://good?pace=fast&vm=cpython&seed=3", "--sheet", "none", *more]


def test_a_sweep_of_six_strokes_has_six(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SWEEPRIG_HOME", str(tmp_path))
    done = CliRunner().invoke(app, sweep("--strokes", "6"))
    assert done.exit_code == 0, done.output
    assert "strokes 0 of 6" in done.output
    n = int(re.search(r"(\d+) full strokes", done.stdout)[1])  # type: ignore[index]
    assert n >= 6


def test_strokes_and_seconds_are_not_asked_for_together() -> None:
    done = CliRunner().invoke(app, sweep("--strokes", "6", "--seconds", "8"))
    assert isinstance(done.exception, InputError)
    assert "--strokes" in done.exception.what


def test_a_timed_sweep_too_short_is_told_before_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SWEEPRIG_HOME", str(tmp_path))
    done = CliRunner().invoke(app, sweep("--seconds", "2", "--countdown", "0"))
    told = done.stderr.index("2 s is too short for 3 strokes")
    assert told < done.stderr.index("strokes 0 of 1")
