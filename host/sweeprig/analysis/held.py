"""Where the lever is held at either end, by means that noise hardly moves, and the unrest of the signal there."""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.model import FloatArray
from sweeprig.capture.model import BoolArray

MEAN_S = 0.1  # s of a mean: ten tremors of a hand a second (common practice, no source) hardly move it
STAYS_S = 0.3  # s over which it stays
STAYS_SHARE = 0.01  # of the signal's range; own choice, no source
END_SHARE = 0.03  # of the range from its ends; own choice, no source
FEWEST_S = 0.1  # s of a stay that counts
FEWEST_FREE = 20  # windows of a stay without an event
FEWEST_STAYS = 3  # noisy ones, of which both ends have one at least


def held_at_ends(shape: FloatArray, *, window_s: float) -> tuple[slice, ...]:
    """Return the stays of a signal (n,) at its ends, without what moves into them and out of them."""
    from scipy.ndimage import maximum_filter1d, minimum_filter1d, uniform_filter1d

    mean = uniform_filter1d(shape, max(1, round(MEAN_S / window_s)), mode="nearest")
    low, high = (float(q) for q in np.quantile(mean, (0.01, 0.99)))
    over = max(3, round(STAYS_S / window_s))
    moved = maximum_filter1d(mean, over) - minimum_filter1d(mean, over)
    near = np.minimum(np.abs(mean - low), np.abs(mean - high)) <= END_SHARE * (high - low)
    stays = near & (moved <= STAYS_SHARE * (high - low))
    runs = np.flatnonzero(np.diff(np.pad(stays.astype(np.int8), 1))).reshape(-1, 2)
    return tuple(slice(a, b) for a, b in runs.tolist() if (b - a) * window_s >= FEWEST_S)


def shown_at_both(levels_v: FloatArray, unrest_v: FloatArray) -> float:
    """Return the largest unrest that three stays show, of which both ends have one; 0 where they are fewer.

    `levels_v`, `unrest_v` (k,): of each stay, one at least.
    """
    high = levels_v > (levels_v.min() + levels_v.max()) / 2
    if unrest_v.size < FEWEST_STAYS or high.all() or not high.any():
        return 0.0
    third = float(np.sort(unrest_v)[-FEWEST_STAYS])
    return min(third, float(unrest_v[high].max()), float(unrest_v[~high].max()))


def noise_there(left: FloatArray, path: FloatArray, free: BoolArray, stays: tuple[slice, ...]) -> float:
    """Return the standard deviation of `left` (n,) that three stays show, half of the free windows of each; else 0.

    `free`: no event in that window; the others are bridged.
    """
    seen = [s for s in stays if np.count_nonzero(free[s]) >= FEWEST_FREE]
    if not seen:
        return 0.0
    own = np.array([np.median(np.abs(left[s][free[s]])) for s in seen]) / 0.6745
    return shown_at_both(np.array([np.median(path[s]) for s in seen]), own)
