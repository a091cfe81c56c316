"""Roughness finer than a window: the means do not show it, the lowest and highest readings in them do. Own."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sweepboard.wire import CHANNEL_NAMES
from sweeprig.analysis.event_texts import ROUGH_HERE, ROUGH_IN_MOVEMENT, TEXTURE_PERCENT
from sweeprig.analysis.model import Cause, Code, Finding, FloatArray, IntArray, Rest, Span
from sweeprig.analysis.moves import Moves
from sweeprig.analysis.smoothness import (
    ALL_OVER_SHARE,
    FEWEST_REGIONS,
    REGION_PERCENT,
    SKIRT_PERCENT,
    SLOWEST_S,
)
from sweeprig.capture.model import Channel, Trace

FAULT, DOUBT = "fault", "doubt"
PERCENT = {FAULT: 0.6, DOUBT: 0.35}  # % of supply that the range of a window has beyond movement
TIMES = {FAULT: 4.0, DOUBT: 3.0}  # the range at rest
CODES = {FAULT: 15.0, DOUBT: 10.0}  # of the data's resolution: wide codes of a converter make less
MOST_PERCENT = 10.0  # % of supply: more than this are dropouts
MOVES = 2.0  # of the speed times the window: what movement explains, with its margin
SPEED_OVER = 4  # windows before and after
FEWEST_WINDOWS = 3  # in a region in one stroke
FEWEST_STROKES = 3
SHOULDER = 0.7  # of the limit, that the rest of a place reaches
NARROWEST_PERCENT = 8.0  # of travel: what is narrower shows as events or in the means
FEWEST_AT_REST = 20  # windows
BOTH = 2  # ends whose range at rest is known: ripple grows with the signal
BESIDE_PERCENT = 4.0  # of travel: shallow findings so near a rough place are its texture
_SKIRT = SKIRT_PERCENT // REGION_PERCENT
_N = 100 // REGION_PERCENT


@dataclass(frozen=True)
class Grain:
    """Where the single readings lie further apart than movement and rest explain."""

    where: Span
    all_over: bool
    range_v: float  # [V] median range of a window there, beyond movement
    rest_v: float  # [V] range of a window at rest
    severity: str  # fault | doubt


def ranges_at_rest(channel: Channel, rests: tuple[Rest, ...]) -> dict[str, float]:
    """Return the median range of a window [V] of the rests at either end, by its name."""
    spread = channel.max_v - channel.min_v
    out = {}
    for place in ("low", "high"):
        own = [spread[r.start : r.stop] for r in rests if r.place == place]
        if sum(x.size for x in own) >= FEWEST_AT_REST:
            out[place] = float(np.median([np.median(x) for x in own]))
    return out


def find_grain(trace: Trace, channel: Channel, a: Moves, m: Moves, *, supply_v: float) -> tuple[Grain, ...]:
    """Return where signal `m` is rough inside its windows, by the way of signal A; the fault before the doubt."""
    rest = ranges_at_rest(channel, a.rests)
    if trace.window_s > SLOWEST_S or not rest:
        return ()
    calm = max(*rest.values(), _of_supply(trace))
    severities = (FAULT, DOUBT) if len(rest) == BOTH or trace.supply is not None else (DOUBT,)
    for severity in severities:
        least = max(PERCENT[severity] / 100 * supply_v, TIMES[severity] * calm, CODES[severity] * trace.lsb_v)
        level = _levels(channel, a, m, least=least, both=severity == FAULT)
        found = _places(level, least=least, most=MOST_PERCENT / 100 * supply_v)
        if found:
            return tuple(
                Grain(where, all_over, v, calm, severity) for where, all_over, v in _named(found, level, a)
            )
    return ()


def _of_supply(trace: Trace) -> float:
    """Return the median range of a window of the supply [V]: a signal takes over a share of it that grows with it."""
    return 0.0 if trace.supply is None else float(np.median(trace.supply.max_v - trace.supply.min_v))


def _levels(channel: Channel, a: Moves, m: Moves, *, least: float, both: bool) -> FloatArray:
    """Return the range beyond movement of each region [V], (k,), the lesser of both ways; nan: seen too little."""
    moved = MOVES * _speed(m.path_steady_v)
    beyond = channel.max_v - channel.min_v - moved
    use = ~a.resting & (moved <= least)
    region = np.clip(a.place / REGION_PERCENT, -1, _N).astype(np.int64)
    seen = np.full((len(a.strokes), _N), np.nan)
    for k, s in enumerate(a.strokes):
        own = slice(s.start, s.stop)
        _fill(seen[k], region[own][use[own]], beyond[own][use[own]])
    up = np.array([s.direction > 0 for s in a.strokes], dtype=bool)
    enough = np.count_nonzero(np.isfinite(seen), axis=0) >= FEWEST_STROKES
    ways = np.stack([_middle(seen[way]) for way in (up, ~up)])
    out = np.min(ways, axis=0) if both else np.fmin(*ways)
    out[~enough] = np.nan
    out[:_SKIRT] = out[_N - _SKIRT :] = np.nan
    return np.asarray(out, dtype=float)


def _speed(path: FloatArray) -> FloatArray:
    """Return the highest speed near each window [V per window], (n,)."""
    from scipy.ndimage import maximum_filter1d

    wide = np.pad(path, SPEED_OVER, mode="edge")
    speed = np.abs(wide[2 * SPEED_OVER :] - wide[: -2 * SPEED_OVER]) / (2 * SPEED_OVER)
    return np.asarray(maximum_filter1d(speed, 2 * SPEED_OVER + 1), dtype=float)


def _fill(row: FloatArray, region: IntArray, beyond: FloatArray) -> None:
    for r in np.unique(region):
        own = beyond[region == r]
        if 0 <= r < _N and own.size >= FEWEST_WINDOWS:
            row[r] = np.median(own)


def _middle(seen: FloatArray) -> FloatArray:
    """Return the median over strokes, (k,); nan where none was seen."""
    out = np.full(seen.shape[1], np.nan)
    some = np.isfinite(seen).any(axis=0)
    out[some] = np.nanmedian(seen[:, some], axis=0)
    return out


def _places(level: FloatArray, *, least: float, most: float) -> list[tuple[int, int]]:
    """Return runs of regions, wide enough, whose level is so high; one region between two does not break a run."""
    known = np.nan_to_num(level)
    hit = (known >= SHOULDER * least) & (known <= most)
    hit[1:-1] |= hit[:-2] & hit[2:]
    runs = np.flatnonzero(np.diff(np.pad(hit.astype(np.int8), 1))).reshape(-1, 2)
    fewest = NARROWEST_PERCENT / REGION_PERCENT
    return [(int(i), int(j)) for i, j in runs if np.count_nonzero(known[i:j] >= least) >= fewest]


def _named(runs: list[tuple[int, int]], level: FloatArray, a: Moves) -> list[tuple[Span, bool, float]]:
    """Return place, whether that is all over, and median range of each run."""
    known = int(np.count_nonzero(np.isfinite(level)))
    if sum(j - i for i, j in runs) >= ALL_OVER_SHARE * known and known >= FEWEST_REGIONS:
        inside = np.concatenate([level[i:j] for i, j in runs])
        return [
            (
                (float(runs[0][0] * REGION_PERCENT), float(runs[-1][1] * REGION_PERCENT)),
                True,
                float(np.nanmedian(inside)),
            )
        ]
    return [
        ((float(i * REGION_PERCENT), float(j * REGION_PERCENT)), False, float(np.nanmedian(level[i:j])))
        for i, j in runs
    ]


def of_signals(trace: Trace, moves: tuple[Moves, ...], *, supply_v: float) -> tuple[tuple[Grain, ...], ...]:
    """Return the rough places of each signal."""
    channels = trace.signal_a, trace.signal_b
    pairs = zip(channels, moves, strict=False)
    return tuple(find_grain(trace, c, moves[0], m, supply_v=supply_v) for c, m in pairs if c is not None)


def sure_spans(grains: tuple[Grain, ...]) -> tuple[Span, ...]:
    """Return the places that are a fault."""
    return tuple(g.where for g in grains if g.severity == FAULT)


def with_grains(found: list[Finding], grains: tuple[tuple[Grain, ...], ...]) -> list[Finding]:
    """Return the findings of the tracks with their rough places, without the shallow ones that a rough place makes.

    Nothing is added where the means show the roughness by themselves: all over, or over half of the place. A doubt
    where bursts come from outside.
    """
    bursts = any(f.code is Code.INTERFERENCE for f in found)
    for channel, own in enumerate(grains):
        sure = tuple(replace(g, severity=DOUBT) for g in own) if bursts else own
        found = _with(found, sure, channel)
    return found


def _with(found: list[Finding], grains: tuple[Grain, ...], channel: int) -> list[Finding]:
    for g in grains:
        own = _finding(g, channel)
        same = [f for f in found if f.channel == channel and f.code is Code.ROUGH_TRACK]
        if any(_says(f, g) for f in same):
            continue
        if g.severity == FAULT:
            found = [f for f in found if not _made_by(f, g, channel)]
        found = [*found, own]
    return found


def _says(f: Finding, g: Grain) -> bool:
    """Whether a finding of roughness covers half of a rough place."""
    if f.where_percent is None:
        return True
    covered = min(f.where_percent[1], g.where[1]) - max(f.where_percent[0], g.where[0])
    return covered >= (g.where[1] - g.where[0]) / 2


def _made_by(f: Finding, g: Grain, channel: int) -> bool:
    """Whether a finding is what a rough place makes: of the track, in it or at its edge, and shallow."""
    if f.channel != channel or f.cause is not Cause.TRACK or f.where_percent is None:
        return False
    low, high = g.where[0] - BESIDE_PERCENT, g.where[1] + BESIDE_PERCENT
    inside = low <= f.where_percent[0] and f.where_percent[1] <= high
    return inside and f.numbers.get("worst_depth_percent", 0.0) <= TEXTURE_PERCENT


def _finding(g: Grain, channel: int) -> Finding:
    where, name = g.where, CHANNEL_NAMES[channel]
    at = "wherever it moves" if g.all_over else f"from {where[0]:.0f} to {where[1]:.0f} % of travel"
    text = (
        f"{name} is noisy {at}: single readings of one window lie {g.range_v * 1e3:z.0f} mV apart beyond what the "
        f"movement makes, {g.rest_v * 1e3:z.1f} mV at rest"
    )
    numbers = {"range_v": g.range_v, "rest_v": g.rest_v}
    step = ROUGH_IN_MOVEMENT if g.all_over else ROUGH_HERE
    return Finding(Code.ROUGH_TRACK, Cause.TRACK, channel, where, text, step, g.severity, numbers)
