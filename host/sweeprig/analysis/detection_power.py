"""How far the strokes that were taken can tell a worn spot from chance, and how many more would."""

from __future__ import annotations

import math

import numpy as np

from sweeprig.analysis.model import Event, FloatArray, IntArray, Stroke, TrackMap
from sweeprig.analysis.statistics import again_p
from sweeprig.capture.model import BoolArray

FEWEST_AT_ONE_PLACE = (
    3  # strokes, of one event each, that chance hardly brings within 1.5 % of travel (docs/methods.md)
)
HALF = 0.5
LEAST_SHARE = 1 / 3  # of the passes over a worn spot that must meet something there
MOST_MORE = 6  # strokes that are worth asking for; own choice, no source
MOST_EVENTS = 60  # in movement: with more of them it is no question of strokes
MOST_LOOKED_AT = 24  # strokes; with more of them, more would add little
CLUSTER_P = 0.01  # chance of events so close together, at most, that names a place
SURE_P = CLUSTER_P / 2  # of one of the two tests that look for it
WORTH_ASKING = 12  # strokes, where it is not known how many would tell more; own choice, no source
N_FINE = 200  # bins of 0.5 % of travel
WORN_OR_LOOSE = "it is a worn spot or a loose connection"


def detection_power(n_strokes: int, share: float) -> float:
    """Return the chance that `n_strokes` name a place that lifts in a share of the passes.

    Once in each of them, and nothing elsewhere, so that three strokes are enough. Upper tail of the binomial
    distribution.
    """
    return sum(
        math.comb(n_strokes, k) * share**k * (1 - share) ** (n_strokes - k)
        for k in range(FEWEST_AT_ONE_PLACE, n_strokes + 1)
    )


def in_words(track: TrackMap | None, open_point: str = WORN_OR_LOOSE) -> tuple[str, str]:
    """Return what these strokes can tell, for the evidence, and what would tell more, for the next step.

    `open_point`: what more strokes would show.
    """
    if track is None or not track.n_strokes:
        return "", ""
    n = track.n_strokes
    able = f"; {_able(n)}"
    more = track.more_strokes
    if more is None:
        return able, ""
    how = how_to_sweep(n + more)
    return (
        able,
        f"{n} strokes are too few to show whether {open_point}: sweep again with {n + more} slow strokes {how}. ",
    )


def _able(n_strokes: int) -> str:
    """Return how often so few strokes miss a worn spot."""
    if n_strokes < FEWEST_AT_ONE_PLACE:
        return f"{n_strokes} stroke{'s are' if n_strokes > 1 else ' is'} too few to show a worn spot"
    missed = 100 * (1 - detection_power(n_strokes, HALF))
    return (
        f"{n_strokes} strokes may not show a worn spot: one that acts in every second stroke is missed in"
        f" {missed:.0f} of 100 sweeps with so few strokes"
    )


def how_to_sweep(strokes: int) -> str:
    """Return the command for so many strokes, as it stands in a next step."""
    return f"(`sweeprig sweep --strokes {strokes}`)"


def detection_numbers(track: TrackMap | None) -> dict[str, float]:
    """Return `more_strokes` as a finding's number; empty where none would tell more."""
    return {} if track is None or track.more_strokes is None else {"more_strokes": float(track.more_strokes)}


def more_strokes(events: tuple[Event, ...], place: FloatArray, strokes: tuple[Stroke, ...]) -> int | None:
    """Return how many more strokes would show one place, were they to go as these did.

    None where not even MOST_MORE would. `events` of one signal, `place` (n,) [% of travel]. What was met at rest says
    nothing of a place.
    """
    n = len(strokes)
    if not events or not 0 < n <= MOST_LOOKED_AT:
        return None
    hits = _hits(events, n)
    if sum(own.size for own in hits) > MOST_EVENTS:
        return None
    met = max((_at_one_place(hits, int(b)) for own in hits for b in own), default=0)
    least = 1 if sum(own.size > 0 for own in hits) < FEWEST_AT_ONE_PLACE else 2
    if met < max(least, LEAST_SHARE * n):
        return None
    spent = [_spent(place[s.start : s.stop]) for s in strokes]
    order = _order(strokes)
    return next((m for m in range(1, MOST_MORE + 1) if _shown(order[: n + m], hits, spent)), None)


def _order(strokes: tuple[Stroke, ...]) -> list[int]:
    """Numbers of the strokes, and of those that the next ones would be like: to and fro, in turn."""
    n = len(strokes)
    other = next((k for k in range(n) if strokes[k].direction != strokes[-1].direction), 0)
    return [*range(n), *((other + k) % n for k in range(MOST_MORE))]


def _shown(order: list[int], hits: list[IntArray], spent: list[FloatArray]) -> bool:
    used = [k for k in order if hits[k].size]
    if len(used) < FEWEST_AT_ONE_PLACE:
        return False
    return again_p([hits[k] for k in used], [spent[k] for k in used]) <= SURE_P


def _hits(events: tuple[Event, ...], n: int) -> list[IntArray]:
    """Bins of the events that each stroke met in movement."""
    out: list[list[int]] = [[] for _ in range(n)]
    for e in events:
        if e.stroke is not None and e.at_percent is not None and not e.at_rest:
            out[e.stroke].append(min(int(e.at_percent / 100 * N_FINE), N_FINE - 1))
    return [np.array(own, dtype=np.int64) for own in out]


def _at_one_place(hits: list[IntArray], at: int) -> int:
    near: list[BoolArray] = [np.abs(own - at) <= 1 for own in hits]
    return sum(bool(own.any()) for own in near)


def _spent(place: FloatArray) -> FloatArray:
    bins = np.minimum((place / 100 * N_FINE).astype(np.int64), N_FINE - 1)
    return np.asarray(np.bincount(bins, minlength=N_FINE) + 1e-9, dtype=float)
