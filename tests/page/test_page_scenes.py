"""States as scenes: the words are those of the terminal."""

from __future__ import annotations

import pytest

from support.courses import course, traces
from support.outcomes import outcome
from sweeprig.bench.aim.aim import Window
from sweeprig.bench.aim.text import AimGuide
from sweeprig.bench.readings.watch import Watcher, WatchState
from sweeprig.bench.review.card import card_of
from sweeprig.bench.sweep.pace import plan_sweep
from sweeprig.bench.sweep.prompts import SweepPrompts, SweepState
from sweeprig.cli.views.card import card_lines
from sweeprig.cli.views.live import view_lines
from sweeprig.cli.views.sweep import screen_lines
from sweeprig.errors import HookupError
from sweeprig.judge.profile import load_profile
from sweeprig.page.scenes import STRIP, card_scene, error_scene, reading_scene, sweep_scene

PROFILE = load_profile("adjustable-potentiometer")


def _watched(*legs: tuple[float, float]) -> WatchState:
    watcher = Watcher(PROFILE, starts_closed=True)
    for trace in traces(course(*legs)):
        watcher.feed(trace)
    return watcher.state(columns=200)


def _swept(*legs: tuple[float, float]) -> SweepState:
    guide = SweepPrompts(PROFILE, plan_sweep(PROFILE, shortest_dropout_s=12e-6))
    state = guide.state()
    for trace in traces(course(*legs)):
        state = guide.feed(trace)
    return state


@pytest.mark.parametrize(
    "legs",
    [
        ((1.0, 0.45),),
        ((1.0, 0.45), (1.0, 4.25)),
        ((1.0, 0.45), (0.1, 4.25), (1.0, 4.25)),
        ((1.0, 0.05),),
    ],
)
def test_a_sweep_says_what_the_terminal_says(legs: tuple[tuple[float, float], ...]) -> None:
    state = _swept(*legs)
    scene = sweep_scene(state, "shelf 3")
    screen = " ".join("\n".join(screen_lines(state, 200, 60)).split())
    for words in (scene.under, scene.flag, *scene.facts, *scene.events):
        assert " ".join(words.split()) in screen


def test_a_live_reading_says_what_the_terminal_says() -> None:
    state = _watched((1.0, 0.45), (1.0, 4.9), (0.5, 4.9))
    scene = reading_scene(state, "shelf 3")
    screen = " ".join("\n".join(view_lines(state, 200, 60)).split())
    for words in (scene.flag, *scene.facts):
        assert " ".join(words.split()) in screen
    assert scene.mark in ("!", "!!")
    assert 2 < len(scene.strip) <= STRIP


def test_a_card_says_what_the_terminal_says() -> None:
    card = card_of(outcome(worn=True))
    scene = card_scene(card, "shelf 3", record=7, link="/sheet")
    printed = " ".join("\n".join(card_lines(card, 200, record=7)).split())
    for words in (scene.under, *scene.facts, *scene.events):
        assert " ".join(words.split()) in printed
    assert scene.verdict == "fail"


def test_only_an_armed_sweep_can_be_started() -> None:
    assert [a.key for a in sweep_scene(_swept((0.1, 0.45)), "").actions] == []
    assert [a.key for a in sweep_scene(_swept((1.0, 0.45)), "").actions] == ["\r"]
    assert [a.key for a in sweep_scene(_swept((1.0, 0.45), (1.0, 4.25)), "").actions] == ["q"]
    assert sweep_scene(_swept((1.0, 0.45), (1.0, 4.25)), "", keys=False).actions == ()


def test_an_ended_sweep_feeds_nothing_and_offers_nothing() -> None:
    strokes = [leg for _ in range(4) for leg in ((1.0, 4.25), (0.8, 4.25), (1.0, 0.45), (0.8, 0.45))]
    scene = sweep_scene(_swept((1.0, 0.45), *strokes), "")
    assert scene.say == "DONE"
    assert (scene.kind, scene.actions) == ("wait", ())


def test_a_sensor_that_is_turned_shows_distance_and_target() -> None:
    state = AimGuide(Window(0.43, 0.45, 0.47), 0.45, 0.045).adorn(_watched((1.0, 0.6)))
    scene = reading_scene(state)
    assert scene.say == "DOWN"
    assert scene.under == "turn so that the reading falls by 0.150 V, 3.3 degrees"
    assert scene.bar is not None
    assert scene.bar.target == (0.43, 0.45, 0.47)
    assert scene.bar.near == pytest.approx((0.29, 0.61))


def test_an_error_says_seen_limit_and_next_step() -> None:
    scene = error_scene(HookupError("No.", seen="5 V", limit="0 V", next_step="unplug it"))
    assert scene.under == "No."
    assert scene.facts == ("Seen: 5 V", "Expected: 0 V", "Next: unplug it")
