"""From the mean of many codes to the input that gives it: wide codes under noise and movement.

A correction by code is right for a single conversion. A window's mean mixes the codes on both sides of a wide one in
a proportion that noise and movement set. The mean code for an input u under a spread s is

    m(u) = sum over k of Phi((u - T_k) / s),    T_k = (k - 0.5) - error(k - 0.5),

T_k the input at which code k begins, Phi the normal distribution. m rises with u, so a mean is turned back into u.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sweeprig.calibration.codes import CODES, corrected
from sweeprig.calibration.model import FloatArray, Linearity

SPREADS_LSB = (0.3, 0.45, 0.65, 0.9, 1.25, 1.75, 2.5, 4.0, 7.0, 12.0, 20.0)
USUAL_NOISE_LSB = 0.9  # where nothing tells it; 0.51 to 1.36 on boards, references of codes.py
FINE = 8  # steps in one LSB
MARGIN = 128  # LSB beyond the first edge; the grid goes further beyond the last
GRID = 36864  # steps: 4608 LSB, a length that the Fourier transform likes
WIDE = 2.0  # LSB: a code as wide as this says nothing of the noise


@dataclass(frozen=True)
class _Stairs:
    """Codes over inputs without any spread: what each spread's course is made from; arrays (GRID,) but `seen`."""

    input_lsb: FloatArray
    line: FloatArray  # taken off, so that what is smoothed is small and ends in 0
    seen: NDArray[np.complex128]  # Fourier transform of the rest


def expected_inverse(mean: FloatArray, spread_lsb: FloatArray, linearity: Linearity) -> FloatArray:
    """Return the input [LSB of the corrected scale] for mean codes (n,) under spreads (n,) [LSB]; NaN stays NaN."""
    key = (linearity.code.tobytes(), linearity.error_lsb.tobytes())
    logs = np.log(np.array(SPREADS_LSB))
    place = np.interp(
        np.log(np.clip(spread_lsb, SPREADS_LSB[0], SPREADS_LSB[-1])), logs, np.arange(logs.size)
    )
    low = np.minimum(place.astype(int), logs.size - 2)
    share = place - low
    out = np.zeros_like(mean)
    for j in range(logs.size):
        weight = np.where(low == j, 1.0 - share, 0.0) + np.where(low + 1 == j, share, 0.0)
        used = weight > 0
        if used.any():
            out[used] += weight[used] * np.interp(mean[used], _means(*key, j), _stairs(*key).input_lsb)
    return np.where(np.isnan(mean), np.nan, out)


@lru_cache(maxsize=16)
def _stairs(code: bytes, error: bytes) -> _Stairs:
    linearity = Linearity(np.frombuffer(code), np.frombuffer(error), 0.0, "")
    edges = np.maximum.accumulate(corrected(np.arange(1, CODES) - 0.5, linearity))
    grid = edges[0] - MARGIN + np.arange(GRID) / FINE
    line = np.clip(grid - grid[0] - MARGIN, 0.0, CODES - 1.0)
    stairs = np.searchsorted(edges, grid, side="right").astype(np.float64)
    return _Stairs(grid, line, np.fft.rfft(stairs - line))


@lru_cache(maxsize=16 * len(SPREADS_LSB))
def _means(code: bytes, error: bytes, j: int) -> FloatArray:
    """Return the mean code at each input of the stairs under the j-th spread, strictly rising."""
    stairs = _stairs(code, error)
    fall = np.exp(-2.0 * (np.pi * np.fft.rfftfreq(GRID, 1.0 / FINE) * SPREADS_LSB[j]) ** 2)
    smooth = np.fft.irfft(stairs.seen * fall, GRID) + stairs.line
    return np.asarray(np.maximum.accumulate(smooth) + 1e-9 * np.arange(GRID))


def noise_lsb(
    mins: NDArray[np.uint16], maxs: NDArray[np.uint16], *, window: int, linearity: Linearity
) -> float:
    """Return the standard deviation of single conversions [LSB], from the quietest windows' range of codes.

    Windows that touch a wide code are left out. The mean range of n normal values is d2(n) standard deviations.
    """
    edges = corrected(np.arange(CODES + 1) - 0.5, linearity)
    wide = np.concatenate([[0], np.cumsum(np.diff(edges) > WIDE)])
    clear = wide[maxs.astype(int) + 1] == wide[mins.astype(int)]
    if window < 2 or not clear.any():
        return USUAL_NOISE_LSB
    ranges = (maxs.astype(np.float64) - mins)[clear]
    return max(float(np.quantile(ranges, 0.2)) / mean_range(window), SPREADS_LSB[1])


@lru_cache(maxsize=8)
def mean_range(n: int) -> float:
    """Return d2: the mean range of n normal values of unit spread, integral of 1 - Phi^n - (1 - Phi)^n."""
    x = np.linspace(-8.0, 8.0, 1601)
    p = np.array([0.5 * math.erfc(-v / math.sqrt(2.0)) for v in x])
    return float(np.sum(1.0 - p**n - (1.0 - p) ** n) * (x[1] - x[0]))


def spreads_lsb(mean: FloatArray, noise: float) -> FloatArray:
    """Return the spread of codes inside each window (n,): noise, and a uniform movement from window to window."""
    if mean.size < 3:
        return np.full_like(mean, noise)
    moved = np.empty_like(mean)
    moved[1:-1] = np.abs(mean[2:] - mean[:-2]) / 2.0
    moved[0], moved[-1] = abs(mean[1] - mean[0]), abs(mean[-1] - mean[-2])
    return np.hypot(noise, moved / math.sqrt(12.0))


def mean_codes(
    sums: NDArray[np.uint32],
    mins: NDArray[np.uint16],
    maxs: NDArray[np.uint16],
    *,
    window: int,
    linearity: Linearity | None,
) -> FloatArray:
    """Return the corrected mean code of each window (n,)."""
    mean = sums.astype(np.float64) / window
    if linearity is None or not mean.size:
        return mean
    noise = noise_lsb(mins, maxs, window=window, linearity=linearity)
    return expected_inverse(mean, spreads_lsb(mean, noise), linearity)
