"""A rehearsal: the sensor is turned on its mount by keys, and a lever in movement does not jump for it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from sweeprig.twin.feed import MOST_WINDOWS
from sweeprig.twin.hands import Hand
from sweeprig.twin.rehearsal import DRAWN_AHEAD, Bench, KeyedPath, RehearsedFeed

HAND = Hand(stroke_s=(1.0, 1.0))
DT_S = 1e-3  # a window


class Drawn:
    """A world whose codes are the places of the lever, in 1/10000, drawn ahead as the simulated one does."""

    def __init__(self, bench: Bench) -> None:
        self._path, self._ahead = KeyedPath(bench, HAND, dt_s=DT_S), np.zeros(0)

    def raw(self, n_windows: int, outputs: int) -> NDArray[np.uint16]:
        while self._ahead.size < n_windows:
            self._ahead = np.concatenate([self._ahead, self._path.take(DRAWN_AHEAD)])
        given, self._ahead = self._ahead[:n_windows], self._ahead[n_windows:]
        return np.round(1e4 * given).astype(np.uint16)

    def slow(self, outputs: int) -> Mapping[str, object]:
        return {}


def played(keys: dict[int, str]) -> tuple[NDArray[np.int64], list[float]]:
    """Places while keys are pressed at the given looks, and the turning of each world that was made."""
    bench, made = Bench(), []

    def make(_: int) -> Drawn:
        made.append(bench.turned_deg)
        return Drawn(bench)

    feed = RehearsedFeed(make, None, bench=bench)
    parts = []
    for look in range(80):
        bench.press(keys.get(look, ""))
        parts.append(np.frombuffer(feed.raw(0, MOST_WINDOWS), "<u2").astype(np.int64))
    return np.concatenate(parts), made


def test_a_sensor_that_is_turned_in_a_stroke_lets_no_lever_jump() -> None:
    places, made = played({2: "o", 10: "+", 13: "+", 40: "c", 47: "-"})
    alone, _ = played({2: "o", 40: "c"})
    assert np.abs(np.diff(places)).max() == np.abs(np.diff(alone)).max()
    assert places[0] == places[-1] == 0
    assert made == [0.0, 1.0, 0.5], "turned once the lever rests"


def test_a_sensor_at_rest_is_turned_at_once() -> None:
    _, made = played({1: "+", 2: "+"})
    assert made == [0.0, 0.5, 1.0]
