"""Noise by region and smoothness of the output."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweeprig.analysis.held import noise_there
from sweeprig.analysis.model import FloatArray, Span, TrackMap
from sweeprig.capture.model import BoolArray

ROUGH_TIMES = 6.0  # noise of a place against the usual noise of the track
AGAIN = 0.5  # of that, which half of the strokes, two at least, must show over half of a place: no track makes it once
ROUGH_PERCENT = 0.15  # % of supply; less than this is nobody's fault

ALL_OVER_TIMES = 6.0  # noise in movement against noise at rest
ALL_OVER_PERCENT = 0.06  # % of supply
STEPS = 0.6  # of the data's own resolution; its steps alone make 0.3 of it
SLOWEST_S = 0.0025  # s from reading to reading, beyond which a hand's own movement makes as much
ALL_OVER_SHARE = 0.75  # of the regions must be as rough as that
FEWEST_REGIONS = 8
REGION_PERCENT = 2  # of span
SKIRT_PERCENT = 4  # of span at either end, where movement begins and stops
REACH_TIMES = 30.0  # largest excursion of a texture, in units of its noise
REACH_PERCENT = 3.0  # % of supply, at least

_PARABOLA_9 = np.array([-21.0, 14.0, 39.0, 54.0, 59.0, 54.0, 39.0, 14.0, -21.0]) / 231.0


def residual(path: FloatArray) -> FloatArray:
    """Departure of each window from the line between its neighbours [V], shape (n,); ends are 0."""
    out = np.zeros_like(path)
    if path.size >= 3:
        out[1:-1] = (path[1:-1] - (path[:-2] + path[2:]) / 2) * np.sqrt(2 / 3)
    return out


def from_parabola(path: FloatArray) -> FloatArray:
    """Departure from the parabola through 9 windows [V], shape (n,); 0 in the first and last four."""
    local = np.zeros_like(path)
    if path.size >= 9:
        local[4:-4] = path[4:-4] - np.convolve(path, _PARABOLA_9, mode="valid")
    return local


def departure(path: FloatArray, place: FloatArray, *, clear: BoolArray, supply_v: float) -> float | None:
    """Range (0.1 to 99.9 %) of the departure over the whole travel, in movement, % of supply.

    NOT the figure of VRCI-P-100A (from memory), which is the largest change within 1 % of travel. The departure is
    from a local parabola over 9 windows (Savitzky and Golay, Analytical Chemistry 36, 1964), since without an angle
    no other line is known. `clear`: nothing is missing in the 9 windows.
    """
    if path.size < 25 or not supply_v > 0:
        return None
    local = from_parabola(path)
    moving = clear & (np.abs(np.diff(place, prepend=place[:1])) > 0.02)
    if np.count_nonzero(moving) < 20:
        return None
    low, high = np.quantile(local[moving], (0.001, 0.999))
    return float(100 * (high - low) / supply_v)


@dataclass(frozen=True)
class RoughAll:
    """A track that is uneven wherever it moves."""

    noise_v: float  # [V] lower quartile of the regions' noise
    rest_v: float  # [V] the same noise at rest
    n_regions: int
    reach_percent: float  # % of supply: how deep an excursion of this texture may go


def rough_everywhere(
    path: FloatArray,
    place: FloatArray,
    *,
    free: BoolArray,
    resting: BoolArray,
    held: tuple[slice, ...] = (),
    supply_v: float,
    lsb_v: float,
) -> RoughAll | None:
    """Whether movement alone makes noise nearly everywhere; arrays (n,), `free`: no event in that window.

    Noise is the rms of `residual` in regions of 2 % of travel. Its lower quartile must stand ALL_OVER_TIMES above
    that at rest, so neither a bad place nor the wide codes of a converter do it. `held`: where the lever stays at an
    end; noise in three such stays, at both ends, is at rest too, as of a motor that starts during the sweep.
    """
    left = residual(path)
    bins = (place / REGION_PERCENT).astype(np.int64)
    skirt = SKIRT_PERCENT // REGION_PERCENT
    n_bins = 100 // REGION_PERCENT
    use = free & ~resting & (bins >= skirt) & (bins < n_bins - skirt)
    count = np.bincount(bins[use], minlength=n_bins + 1)
    square = np.bincount(bins[use], weights=left[use] ** 2, minlength=n_bins + 1)
    noise = np.sqrt(square[count >= 6] / count[count >= 6])
    still = left[free & resting]
    if noise.size < FEWEST_REGIONS or still.size < 20:
        return None
    rest = max(float(np.sqrt(np.mean(still**2))), noise_there(left, path, free, held))
    level = float(np.quantile(noise, 1 - ALL_OVER_SHARE))
    if level < max(ALL_OVER_TIMES * rest, ALL_OVER_PERCENT / 100 * supply_v, STEPS * lsb_v):
        return None
    reach = 100 * REACH_TIMES * float(np.quantile(noise, ALL_OVER_SHARE)) / supply_v
    return RoughAll(level, rest, int(noise.size), max(reach, REACH_PERCENT))


@dataclass(frozen=True)
class Rough:
    """A region whose noise is above the rest of the track."""

    where: Span
    noise_v: float
    usual_v: float


def rough_places(track: TrackMap, *, supply_v: float, lsb_v: float) -> tuple[Rough, ...]:
    """Regions of at least 2 % of travel with ROUGH_TIMES the median noise, in half of the passes and two at least."""
    usual = float(np.nanmedian(track.noise_v)) if np.isfinite(track.noise_v).any() else np.nan
    limit = max(ROUGH_TIMES * usual, ROUGH_PERCENT / 100 * supply_v, STEPS * lsb_v)
    hit = np.nan_to_num(track.noise_v, nan=0.0) > limit
    hit[:4] = hit[-4:] = False
    hit &= track.strokes_seen >= 2
    again = hit if track.noise_again_v is None else np.nan_to_num(track.noise_again_v) > AGAIN * limit
    out = []
    for a, b in np.flatnonzero(np.diff(np.pad(hit.astype(np.int8), 1))).reshape(-1, 2):
        if b - a >= 2 and np.mean(again[a:b]) >= AGAIN:
            level = float(np.nanmax(track.noise_v[a:b]))
            out.append(Rough((float(track.edge_percent[a]), float(track.edge_percent[b])), level, usual))
    return tuple(out)
