"""Small exact and permutation statistics. Seeds are fixed, so that one capture always gives one answer."""

from __future__ import annotations

import math

import numpy as np

from sweeprig.analysis.model import FloatArray, IntArray
from sweeprig.capture.model import BoolArray

N_DRAWS = 999  # p-values down to 0.001
FEW_EVENTS = 64  # up to which drawing event by event is faster


def binomial_p(hits: int, trials: int, share: float) -> float:
    """Two-sided exact binomial p-value: the chance of counts no more likely than `hits`."""
    k = np.arange(trials + 1)
    share = min(max(share, 1e-9), 1 - 1e-9)
    log_fact = np.cumsum(np.log(np.maximum(k, 1)))
    log_p = log_fact[-1] - log_fact - log_fact[::-1] + k * math.log(share) + (trials - k) * math.log1p(-share)
    p = np.exp(log_p)
    return float(min(1.0, p[p <= p[hits] * (1 + 1e-9)].sum()))


def at_least_p(hits: int, trials: int, share: float) -> float:
    """Chance of `hits` or more of `trials`, each with probability `share`."""
    share = min(max(share, 1e-9), 1 - 1e-9)
    k = np.arange(hits, trials + 1)
    log_fact = np.concatenate([[0.0], np.cumsum(np.log(np.arange(1, trials + 1)))])
    log_p = log_fact[trials] - log_fact[k] - log_fact[trials - k] + k * math.log(share)
    return float(min(1.0, np.exp(log_p + (trials - k) * math.log1p(-share)).sum()))


def scan_p(
    counts: IntArray, exposure: FloatArray, *, widths: tuple[int, ...] = (2, 4, 8), seed: int = 1
) -> float:
    """Chance of events as concentrated as `counts`, were they spread like `exposure`.

    Both of shape (k,). Statistic: largest log likelihood ratio over runs of `widths` bins (Kulldorff, Commun.
    Statist. 26, 1997; from memory), compared with multinomial draws.
    """
    share = exposure / exposure.sum()
    draws = _multinomial(int(counts.sum()), share, np.random.default_rng(seed))
    seen = _scan(counts[:, None], share, widths)[0]
    return float((1 + np.count_nonzero(_scan(draws, share, widths) >= seen - 1e-12)) / (N_DRAWS + 1))


def _multinomial(n: int, share: FloatArray, rng: np.random.Generator) -> IntArray:
    """Return N_DRAWS draws of n events, shape (k, N_DRAWS): bin by bin, or event by event where they are few."""
    if n > FEW_EVENTS:
        return np.ascontiguousarray(rng.multinomial(n, share, size=N_DRAWS).T)
    bins = np.searchsorted(np.cumsum(share)[:-1], rng.random(n * N_DRAWS), side="right")
    cells = bins * N_DRAWS + np.tile(np.arange(N_DRAWS), n)
    return np.bincount(cells, minlength=share.size * N_DRAWS).reshape(share.size, N_DRAWS)


def again_p(
    hits: list[IntArray], exposure: list[FloatArray], *, width: int = 3, seed: int = 2, n_draws: int = N_DRAWS
) -> float:
    """Chance that as many strokes meet something within one run of `width` bins, were each stroke's events anywhere.

    `hits`: bins of the events of one stroke; `exposure` (k,): time that this stroke spends in each bin. Events of
    every stroke are drawn anew by its own exposure; several in one stroke count once. The statistic is the largest
    number of strokes, 255 at most, over all runs: noise counts when seen again at the same place (MIL-PRF-27208 4.7.5).
    """
    rng = np.random.default_rng(seed)
    seen = np.zeros((1, exposure[0].size), dtype=np.uint8)
    drawn = np.zeros((n_draws, exposure[0].size), dtype=np.uint8)
    for bins, time in zip(hits, exposure, strict=True):
        seen += _within(bins[None, :], time.size, width)
        edges = np.cumsum(time) / time.sum()
        draws = np.searchsorted(edges, rng.random((n_draws, bins.size)), side="right")
        drawn += _within(np.minimum(draws, time.size - 1), time.size, width)
    as_many = np.count_nonzero(drawn.max(axis=1) >= seen.max())
    return float((1 + as_many) / (n_draws + 1))


def _within(bins: IntArray, k: int, width: int) -> BoolArray:
    """Whether the run of `width` bins around each bin holds one of `bins` (m, n), shape (m, k)."""
    out = np.zeros((bins.shape[0], k), dtype=bool)
    rows = np.arange(bins.shape[0])[:, None]
    for shift in range(-(width // 2), width // 2 + 1):
        out[rows, np.clip(bins + shift, 0, k - 1)] = True
    return out


def _scan(counts: IntArray, share: FloatArray, widths: tuple[int, ...]) -> FloatArray:
    """Largest log likelihood ratio over runs of `widths` bins for counts (k, m), all of one sum, shape (m,).

    Taken from a table of it for every run and every count in it.
    """
    n, below = int(counts[:, 0].sum()), np.concatenate([[0.0], np.cumsum(share)])
    runs = np.zeros((counts.shape[0] + 1, counts.shape[1]), np.int32)
    for j, of_bin in enumerate(counts):  # faster than cumsum along this axis
        np.add(runs[j], of_bin, out=runs[j + 1], casting="same_kind")
    best = np.zeros(counts.shape[1])
    for width in widths:
        inside = runs[width:] - runs[:-width]
        for row, of_run in zip(_ratios(n, n * (below[width:] - below[:-width])), inside, strict=True):
            np.maximum(best, row.take(of_run), out=best)
    return best


def _ratios(n: int, mu: FloatArray) -> FloatArray:
    """Log likelihood ratio of k of n events in a run where mu (j,) are expected, for k = 0 to n, shape (j, n + 1)."""
    k, m = np.arange(n + 1, dtype=float), mu[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        into = np.where(k > 0, k * np.log(k / m), 0.0)
        outof = np.where(n - k > 0, (n - k) * np.log((n - k) / np.maximum(n - m, 1e-12)), 0.0)
    return np.where(k > m, into + outof, 0.0)


def batch_means_u(values: FloatArray) -> tuple[float, float]:
    """Standard uncertainty of the mean of an autocorrelated series, by batch means, and its dof.

    Batches of sqrt(n) values (Flegal and Jones, Ann. Statist. 38, 2010; from memory). NaN is not allowed.
    """
    n = values.size
    if n < 4:
        return (float(np.std(values)) if n > 1 else math.nan), 1.0
    size = max(1, math.isqrt(n))
    k = n // size
    means = values[: k * size].reshape(k, size).mean(axis=1)
    return float(means.std(ddof=1) / math.sqrt(k)), float(k - 1)


def spread_of(values: FloatArray) -> float:
    """Robust standard deviation: 1.4826 times the median absolute deviation; 0 when empty."""
    if values.size == 0:
        return 0.0
    return float(1.4826 * np.median(np.abs(values - np.median(values))))


def median_known(values: FloatArray | list[FloatArray]) -> tuple[FloatArray, IntArray]:
    """Median over the first axis of what is not nan, nan where nothing is, and how many those are."""
    ordered = np.sort(values, axis=0)  # nan last
    n = np.isfinite(ordered).sum(axis=0)[None]
    middle = (np.maximum((n - 1) // 2, 0), np.minimum(n // 2, len(ordered) - 1))
    low, high = (np.take_along_axis(ordered, k, axis=0)[0] for k in middle)
    return (low + high) / 2, n[0]
