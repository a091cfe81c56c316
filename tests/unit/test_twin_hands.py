"""Simulated hands."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sweeprig.twin.hands import Hand, HandPath, minimum_jerk

DT_S = 0.5e-3


def path(hand: Hand, seed: int = 1, seconds: float = 5.0) -> np.ndarray:
    return HandPath(hand, seed=seed, dt_s=DT_S).take(round(seconds / DT_S))


def test_minimum_jerk_is_what_the_literature_says() -> None:
    """Peak speed 1.875 times the mean, at half time; no speed at both ends (Flash and Hogan 1985, from memory)."""
    u = np.linspace(0, 1, 10001)
    speed = np.gradient(minimum_jerk(u), u)
    assert minimum_jerk(np.array([0.0, 0.5, 1.0])) == pytest.approx([0.0, 0.5, 1.0])
    assert speed.max() == pytest.approx(1.875, abs=1e-5)
    assert speed[0] == pytest.approx(0, abs=1e-3)


def test_same_seed_same_hand_in_any_portions() -> None:
    hand = Hand(hesitate=0.5, partial=0.3, snap=0.5, tremor=0.003)
    whole = path(hand, 7)
    one = HandPath(hand, seed=7, dt_s=DT_S)
    parts = np.concatenate([one.take(n) for n in (1, 3, 500, 9496)])
    assert np.array_equal(whole, parts)
    assert not np.array_equal(whole, path(hand, 8))


@pytest.mark.parametrize(("starts", "at"), [("closed", 0.0), ("open", 1.0), ("middle", 0.5)])
def test_starts_where_told_and_rests_there(starts: str, at: float) -> None:
    hand = Hand(starts=starts, first_rest_s=(0.3, 0.4))
    assert (path(hand)[: round(0.29 / DT_S)] == at).all()


def test_stroke_count_and_pace() -> None:
    hand = Hand(strokes=3, stroke_s=(0.4, 0.4), rest_s=(0.2, 0.2), first_rest_s=(0.5, 0.5))
    x = path(hand)
    moving = np.abs(np.diff(x)) > 0
    began = np.count_nonzero(moving[1:] & ~moving[:-1])
    assert began == 3
    assert np.count_nonzero(moving) * DT_S == pytest.approx(3 * 0.4, abs=0.05)
    assert x[-1] == 1.0


def test_a_snap_is_fast_and_bounces_off_the_stop() -> None:
    hand = Hand(snap=1.0, snap_s=(0.05, 0.05), bounce=0.05)
    x = path(hand, seconds=8.0)
    down = -np.diff(x) / DT_S
    assert down.max() > 1.5 / 0.05
    assert x.min() >= 0.0
    touches = np.flatnonzero((x[1:] == 0.0) & (x[:-1] > 0.0)) + 1
    first, second = x[touches[0] : touches[1]].max(), x[touches[1] : touches[2]].max()
    assert 0.005 < first <= 0.05
    assert 0.05 * first < second < 0.35 * first


def test_tremor_has_its_frequency_and_spares_the_stops() -> None:
    """8 to 12 Hz: physiological tremor, from memory."""
    hand = Hand(starts="middle", strokes=1, first_rest_s=(4.0, 4.0), tremor=0.004)
    x = path(hand, seconds=4.0)
    spectrum = np.abs(np.fft.rfft(x - x.mean()))
    assert 7.9 <= np.fft.rfftfreq(x.size, DT_S)[spectrum.argmax()] <= 12.1
    assert x.std() == pytest.approx(0.004 / np.sqrt(2), rel=0.05)
    stopped = path(replace(hand, starts="closed"), seconds=3.9)
    assert (stopped == 0.0).all()


def test_partial_strokes_stop_short() -> None:
    x = path(Hand(partial=1.0, strokes=1), seconds=3.0)
    assert 0.35 < x[-1] < 0.95


def test_scatter_moves_the_stops() -> None:
    x = path(Hand(scatter=0.01, stroke_s=(0.2, 0.2), rest_s=(0.2, 0.2)), seconds=20.0)
    rests = np.unique(x[np.flatnonzero(np.diff(x, prepend=x[0]) == 0)])
    assert 0.003 < rests[rests > 0.5].std() < 0.03
