"""A rest that is missing at an end is asked for before a sweep ends: whoever obeys has both ends measured."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import pytest

from support.courses import WINDOW_S, course, trace_of, traces
from sweeprig.analysis.analyse import analyse
from sweeprig.bench.sweep.pace import plan_sweep
from sweeprig.bench.sweep.prompts import Step, SweepPrompts, SweepState
from sweeprig.bench.sweep.trigger import Phase
from sweeprig.cli.views.sweep import plain_line, screen_lines
from sweeprig.judge.profile import load_profile
from sweeprig.words import Sense, Starts

PROFILE = load_profile("adjustable-potentiometer")
PLAN = plan_sweep(PROFILE, shortest_dropout_s=1e-4)
C, W = 0.45, 4.4  # closed, wide open [V]
CHUNK = 20  # windows from one look at the screen to the next
SIZES = ((60, 20), (80, 24), (120, 40))


class Seen(NamedTuple):
    """A sweep from its first window to its end."""

    states: list[SweepState]
    v: np.ndarray

    @property
    def steps(self) -> list[Step]:
        """The steps in their order, each once while it lasts."""
        all_ = [s.step for s in self.states]
        return [step for k, step in enumerate(all_) if k == 0 or step is not all_[k - 1]]

    @property
    def has_both_ends(self) -> bool:
        """Whether the analysis of the capture has both ends."""
        found = analyse(
            trace_of(self.v), starts=Starts.CLOSED, given_sense=Sense.UNKNOWN, sensor_kind="potentiometer"
        )
        return found.low is not None and found.high is not None


@dataclass
class Hand:
    """Does what the screen says, but leaves each stop early: after `patience_s` [s], until a rest is asked for."""

    stroke_s: float
    patience_s: tuple[float, ...]  # at the first stop, the second ...; then it waits as long as it is told
    place_v: float = C
    _way: list[float] = field(default_factory=list)
    _waited: float = 0.0
    _stops: int = -1  # stops left so far; the first rest is always held

    def look(self, state: SweepState) -> np.ndarray:
        """Return the volts until the next look."""
        if not self._way:
            self._choose(state)
        part, self._way = self._way[:CHUNK], self._way[CHUNK:]
        part += [part[-1] if part else self.place_v] * (CHUNK - len(part))
        self.place_v, self._waited = part[-1], self._waited + CHUNK * WINDOW_S
        return np.array(part)

    def _choose(self, state: SweepState) -> None:
        """Go where the screen says, or away from this stop where patience ends before."""
        other = W if self.place_v < (C + W) / 2 else C
        asked = {Step.OPEN_SLOWLY: W, Step.AND_BACK: C}.get(state.step, self.place_v)
        impatient = 0 <= self._stops < len(self.patience_s) and self._waited >= self.patience_s[self._stops]
        if asked == other or (impatient and state.step is not Step.DONE):
            self._way = course((WINDOW_S, self.place_v), (self.stroke_s, other))[1:].tolist()
            self._stops, self._waited = self._stops + 1, -self.stroke_s


def swept(hand: Hand, *, most_s: float = 40.0) -> Seen:
    guide, states, v = SweepPrompts(PROFILE, PLAN), [], np.full(0, C)
    while not states or (states[-1].phase is not Phase.OVER and v.size * WINDOW_S < most_s):
        part = hand.look(states[-1] if states else guide.state())
        states.append(guide.feed(trace_of(part, first=v.size)))
        v = np.concatenate([v, part])
    return Seen(states, v)


def played(*legs: tuple[float, float]) -> Seen:
    guide, v = SweepPrompts(PROFILE, PLAN), course(*legs)
    return Seen([guide.feed(t) for t in traces(v, chunk=CHUNK)], v)


NO_REST_OPEN = ((1.0, C), (1.2, W), (1.2, C), (0.7, C), (1.2, W), (1.2, C), (0.7, C))
THEN_OPEN = (*NO_REST_OPEN, (1.2, W), (1.2, W))


def test_a_rest_that_is_missing_at_open_is_asked_for() -> None:
    seen = played(*NO_REST_OPEN, (0.6, 1.5))
    assert seen.states[-1].phase is not Phase.OVER
    assert seen.states[-1].lacking == ("open",)
    assert seen.steps[-2:] == [Step.HOLD_CLOSED, Step.OPEN_SLOWLY]
    there = played(*THEN_OPEN)
    assert there.steps[-2:] == [Step.HOLD_OPEN, Step.DONE]
    assert there.states[-1].lacking == ()
    assert there.has_both_ends


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_the_screen_says_which_rest_is_missing(width: int, height: int) -> None:
    state = played(*NO_REST_OPEN, (0.3, 1.5)).states[-1]
    said = "Hold still 0.5 s at the open stop: no rest there so far."
    assert said in " ".join(" ".join(screen_lines(state, width, height)).split())
    assert said in plain_line(state)
    assert "…" not in "\n".join(screen_lines(state, width, height))


def test_a_rest_of_the_first_strokes_is_enough() -> None:
    seen = played((1.0, C), (1.2, W), (0.4, W), (1.2, C), (1.2, W), (0.8, W))
    assert seen.steps[-2:] == [Step.HOLD_OPEN, Step.DONE]
    assert not any(state.lacking for state in seen.states)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("stroke_s", [0.5, 1.0, 1.5])
def test_who_obeys_the_screen_has_both_ends(stroke_s: float, seed: int) -> None:
    patience = tuple(np.random.default_rng(seed).choice([0.0, 0.02, 0.1, 0.2, 0.3], size=3).tolist())
    seen = swept(Hand(stroke_s, patience))
    assert seen.steps[-1] is Step.DONE
    assert seen.states[-1].seconds < PLAN.longest_s / 2
    assert seen.has_both_ends


def test_a_lever_that_never_rests_at_an_end_ends_all_the_same() -> None:
    """It is asked for twice: then the sweep ends with what it has."""
    legs = [(1.0, C)] + [(1.0, W), (1.0, C), (0.7, C)] * 6
    seen = played(*legs)
    assert seen.states[-1].phase is Phase.OVER
    assert next(s for s in seen.states if s.phase is Phase.OVER).strokes <= 8


def test_a_lever_that_is_left_ends_the_sweep_after_seconds() -> None:
    seen = played(*NO_REST_OPEN, (9.0, C))
    over = next(s for s in seen.states if s.phase is Phase.OVER)
    assert over.seconds == pytest.approx(6.5 - 1.1 + 8.0, abs=0.2)


def test_a_timed_sweep_asks_for_no_rest_beyond_its_time() -> None:
    plan = plan_sweep(PROFILE, shortest_dropout_s=1e-4, seconds=10.0)
    guide = SweepPrompts(PROFILE, plan)
    states = [guide.feed(t) for t in traces(course(*NO_REST_OPEN, (5.0, C)), chunk=CHUNK)]
    assert not any(state.lacking for state in states)
    assert next(s for s in states if s.phase is Phase.OVER).seconds == pytest.approx(10.0, abs=0.05)
