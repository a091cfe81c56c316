"""Places where the track reads low in every pass by too little for an event: told from what the hand does there.

Nothing but the signal says where the lever is. So a stroke is compared with the straight line in time between the
moments at which it was a chord further back and further on. What the track does there has the same sign
up and down and comes back on both sides; a lever that waits or is drawn into a detent leads on one side and lags on
the other, and a hand's own unrest is elsewhere in the next stroke. Own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sweeprig.analysis.backs import FEWEST_STROKES, SHARE, Back, back_of, find_back
from sweeprig.analysis.bends import is_bend
from sweeprig.analysis.chords import N_PLACES, PLACES, STEP_PERCENT, departure
from sweeprig.analysis.model import FloatArray, IntArray, Span, Stroke
from sweeprig.analysis.moves import Moves
from sweeprig.analysis.smoothness import SLOWEST_S
from sweeprig.analysis.statistics import median_known
from sweeprig.capture.model import BoolArray, Trace

CHORDS_PERCENT = (2.0, 1.0)  # of span: half the line that a place is compared with
EDGE = 2.5  # chords from either end, where every hand speeds up and slows down, are left out
LEAST_PERCENT = (
    0.22  # % of supply: departure that counts; a bell of 0.4 % that is half a per cent wide has it
)
ONE_WAY_PERCENT = 1.0  # % of supply: from which on a dip in strokes of one direction only is a doubt
LEAST_LSB, LEAST_STEPS = 8.0, 2.5  # codes of a rig with windows; steps of single readings
LEAST_STANDARD_ERRORS = 6.0  # standard errors of the median of one direction's strokes
TEXTURE = 5.0  # of the usual departure from place to place
SHARE_OF_DEPTH = 0.5  # that each of them must show
WIDEST, DEEPEST = 0.75, 0.7  # chords: a hand that pauses makes more than a track that goes on rising can
LOBE = 0.6  # of the depth: how far the signal may stand out the other way beside it
BESIDE = 0.875  # of the chord on either side belong to the dip and its lobes
BASE = (1.0, 1.5)  # chords away, on both sides: their mean is the level beside it
SAME_PLACE = 2  # places
LEAST_UNLOOKED = 4  # places: shorter gaps are not told
UNREST = 1.5  # times a signal's own unrest, which goes back by itself


@dataclass(frozen=True)
class Dip:
    """A place that reads low."""

    where: Span
    depth_v: float  # [V] departure from the chord
    n_seen: int
    n_strokes: int
    back: bool = (
        False  # so deep that the signal goes back in it, which no lever does at one place up and down
    )
    which: str = ""  # of which strokes, in words, where it is not in those of both directions all the time


def find_dips(
    place: FloatArray,
    strokes: tuple[Stroke, ...],
    *,
    gap_before: BoolArray,
    span_v: float,
    supply_v: float,
    least_v: float,
    chords: Sequence[float] = CHORDS_PERCENT,
    unrest_v: float = 0.0,
) -> tuple[Dip, ...]:
    """Places (the deepest first of each) at which enough strokes of both directions read low.

    `place` (n,) [% of travel] rises with the signal. `least_v`: what the converter alone may make [V]. Without
    `chords` only a signal that goes back counts, by more than its own `unrest_v`.
    """
    whole, ways = _whole(strokes, gap_before)
    if not whole:
        return ()
    least = max(least_v, LEAST_PERCENT / 100 * supply_v)
    most = DEEPEST / 100 * span_v
    backs = find_back([back_of(place[s.start : s.stop]) for s in whole], ways)
    found = [d for d in _backs(backs, span_v) if d.depth_v > UNREST * unrest_v]
    for chord in chords:
        off = np.stack([departure(place[s.start : s.stop], chord) for s in whole]) * span_v / 100
        new = [d for d in _dips(off, ways, chord, least) if d.depth_v <= most * chord]
        new = [
            d
            for d in new
            if not is_bend(
                d.where, d.depth_v, [place[s.start : s.stop] for s in whole], ways, chord=chord, span_v=span_v
            )
        ]
        found += [d for d in new if not any(_near(d, other) for other in found)]
    return tuple(found)


def _whole(strokes: tuple[Stroke, ...], gap_before: BoolArray) -> tuple[list[Stroke], IntArray]:
    """Return the strokes in which nothing is missing, and their directions; none where they are too few to compare."""
    whole = [s for s in strokes if not gap_before[s.start + 1 : s.stop].any()]
    ways = np.array([s.direction for s in whole])
    enough = len(whole) >= FEWEST_STROKES and len(set(ways.tolist())) == 2
    return (whole, ways) if enough else ([], ways)


def unlooked(place: FloatArray, strokes: tuple[Stroke, ...], *, gap_before: BoolArray) -> tuple[Span, ...]:
    """Return where no dip can show, because the lever speeds up, slows down or waits there; () with too few strokes."""
    whole, ways = _whole(strokes, gap_before)
    if not whole:
        return ()
    seen = np.zeros(N_PLACES, dtype=bool)
    for chord in CHORDS_PERCENT:
        off = np.stack([departure(place[s.start : s.stop], chord) for s in whole])
        seen |= np.isfinite(_both_ways(off, ways, chord))
    runs = np.flatnonzero(np.diff(np.pad((~seen).astype(np.int8), 1))).reshape(-1, 2)
    edges = [(max(a - 1, 0), min(b, N_PLACES - 1)) for a, b in runs if b - a >= LEAST_UNLOOKED]
    return tuple((float(PLACES[a]), float(PLACES[b])) for a, b in edges)


def _backs(b: Back | None, span_v: float) -> list[Dip]:
    if b is None:
        return []
    where, depth_v = (max(0.0, b.top - STEP_PERCENT), b.top), b.depth * span_v / 100
    return [Dip(where, depth_v, b.n_seen, b.n_strokes, back=True, which=b.which)]


def _dips(off: FloatArray, ways: IntArray, chord: float, least_v: float) -> list[Dip]:
    """Dips of about the width of a chord, the deepest first."""
    low = _both_ways(off, ways, chord)
    limit = max(least_v, TEXTURE * _spread(low), LEAST_STANDARD_ERRORS * _chance(off, ways))
    deep = -np.where(np.isfinite(low), low, 0.0)
    deep[deep < limit] = 0.0
    out, reach = [], _places(BESIDE * chord)
    while deep.any():
        at = int(np.argmax(deep))
        dip = _dip_at(at, off, ways, low, chord)
        out += [] if dip is None else [dip]
        deep[max(0, at - reach) : at + reach + 1] = 0.0
    return out


def one_way(
    place: FloatArray,
    strokes: tuple[Stroke, ...],
    *,
    gap_before: BoolArray,
    span_v: float,
    supply_v: float,
    least_v: float,
) -> tuple[Dip, ...]:
    """Return the deepest dip of the strokes of each direction that those of the other do not have.

    A hand that slows at one place in one direction does the same: no finding.
    """
    whole, ways = _whole(strokes, gap_before)
    if not whole:
        return ()
    least = max(least_v, LEAST_PERCENT / 100 * supply_v)
    out: list[Dip] = []
    for way, name in ((1, "rising"), (-1, "falling")):
        if np.count_nonzero(ways == way) < FEWEST_STROKES:
            continue
        for chord in CHORDS_PERCENT:
            off = np.stack([departure(place[s.start : s.stop], chord) for s in whole]) * span_v / 100
            found = _of_one_way(off[ways == way], off[ways != way], chord, least)
            if found:
                out.append(replace(found[0], which=f"{name} strokes"))
                break
    return tuple(out)


def _of_one_way(off: FloatArray, other: FloatArray, chord: float, least_v: float) -> list[Dip]:
    """Dips of strokes alike, as if they were those of both directions, that the other strokes do not have."""
    n = len(off)
    found = _dips(np.concatenate([off, off]), np.repeat([1, -1], n), chord, least_v)
    beside = _level(median_known(other)[0], chord)
    known = np.where(np.isfinite(beside), beside, 0.0)
    return [
        replace(d, n_seen=d.n_seen // 2, n_strokes=d.n_strokes // 2)
        for d in found
        if d.n_seen // 2 >= FEWEST_STROKES
        and known[_places(d.where[0]) : _places(d.where[1]) + 1].min() > -SHARE_OF_DEPTH * d.depth_v
    ]


def _places(percent: float) -> int:
    return round(percent / STEP_PERCENT)


def _near(one: Dip, other: Dip) -> bool:
    reach = max(CHORDS_PERCENT)
    return one.where[0] <= other.where[1] + reach and other.where[0] <= one.where[1] + reach


def mirrored(dip: Dip) -> Dip:
    """Return a dip with its place counted from the other end."""
    return replace(dip, where=(100 - dip.where[1], 100 - dip.where[0]))


def _both_ways(off: FloatArray, ways: IntArray, chord: float) -> FloatArray:
    """What rising and falling strokes have in common, the lesser of both, less the level beside, shape (N_PLACES,)."""
    up, down = median_known(off[ways > 0])[0], median_known(off[ways < 0])[0]
    low = np.maximum(_level(up, chord), _level(down, chord))
    edge = _places(EDGE * chord)
    low[:edge] = low[-edge:] = np.nan
    return low


def _level(values: FloatArray, chord: float) -> FloatArray:
    """`values` less the mean of what stands BASE away on both sides."""
    near, far = (_places(b * chord) for b in BASE)
    wide = np.pad(values, far, mode="edge")
    shifts = [far + way * k for k in range(near, far + 1) for way in (-1, 1)]
    return np.asarray(values - np.mean([wide[k : k + values.size] for k in shifts], axis=0))


def _spread(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(1.4826 * np.median(np.abs(known - np.median(known)))) if known.size else np.inf


def _chance(off: FloatArray, ways: IntArray) -> float:
    """Standard error of the median of the rarer direction's strokes, from their scatter about it [V]."""
    left = [
        off[ways == way] - median_known(off[ways == way])[0]
        for way in (1, -1)
        if np.count_nonzero(ways == way) > 1
    ]
    known = np.concatenate([own[np.isfinite(own)] for own in left]) if left else np.zeros(0)
    if not known.size:
        return np.inf
    n = min(np.count_nonzero(ways > 0), np.count_nonzero(ways < 0))
    return float(1.25 * np.sqrt(np.mean(np.clip(known, *np.quantile(known, (0.02, 0.98))) ** 2) / n))


def _dip_at(at: int, off: FloatArray, ways: IntArray, low: FloatArray, chord: float) -> Dip | None:
    """The dip about one place, if it comes back on both sides and enough strokes show it."""
    depth, reach = -float(low[at]), _places(BESIDE * chord)
    around = slice(max(0, at - reach), at + reach + 1)
    for way in (1, -1):
        if np.nanmax(_level(median_known(off[ways == way])[0], chord)[around]) > LOBE * depth:
            return None
    near = np.stack([_level(own, chord)[at - SAME_PLACE : at + SAME_PLACE + 1] for own in off])
    crossed = np.isfinite(near).all(axis=1)
    seen = crossed & (np.where(np.isfinite(near), near, np.inf).min(axis=1) <= -SHARE_OF_DEPTH * depth)
    n_seen, n_crossed = int(seen.sum()), int(crossed.sum())
    if n_seen < max(FEWEST_STROKES, SHARE * n_crossed) or len(set(ways[seen])) < 2:
        return None
    inside = PLACES[around][low[around] <= -depth / 2]
    where = (float(inside[0]), float(inside[-1]))
    return Dip(where, depth, n_seen, n_crossed) if where[1] - where[0] <= WIDEST * chord else None


def least_of(lsb_v: float, *, single: bool) -> float:
    """What the converter alone may make [V]."""
    return (LEAST_STEPS if single else LEAST_LSB) * lsb_v


def of_signals(
    trace: Trace, moves: tuple[Moves, ...], *, falling: bool, supply_v: float
) -> list[tuple[int, Dip]]:
    """Return channel and dip, counted as the first signal's places are; `falling`: those count against it."""
    # readings far apart still show what goes back
    chords = () if trace.window_s > SLOWEST_S else CHORDS_PERCENT
    least = least_of(trace.lsb_v, single=trace.undithered)
    out = []
    for channel, m in enumerate(moves):
        place = 100.0 - m.place if channel == 0 and falling else m.place
        against = bool(np.dot(place - place.mean(), moves[0].place - moves[0].place.mean()) < 0)
        found = find_dips(
            place,
            m.strokes,
            gap_before=trace.gap_before,
            span_v=m.span_v,
            supply_v=supply_v,
            least_v=least,
            chords=chords,
            unrest_v=m.unrest_v,
        )
        if chords:
            once = one_way(
                place,
                m.strokes,
                gap_before=trace.gap_before,
                span_v=m.span_v,
                supply_v=supply_v,
                least_v=max(least, ONE_WAY_PERCENT / 100 * supply_v),
            )
            found += tuple(d for d in once if not any(_near(d, other) for other in found))
        out += [(channel, mirrored(d) if against else d) for d in found]
    return out
