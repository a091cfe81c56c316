"""The exact interval of a rate, for benchmarks."""

from __future__ import annotations


def clopper_pearson(hits: int, trials: int, *, confidence: float = 0.95) -> tuple[float, float]:
    """Exact two-sided interval of a rate (Clopper and Pearson, Biometrika 26, 1934; from memory)."""
    from scipy.special import betaincinv

    if not 0 <= hits <= trials or trials < 1:
        raise ValueError(f"hits {hits} of {trials} trials")
    tail = (1 - confidence) / 2
    low = 0.0 if hits == 0 else float(betaincinv(hits, trials - hits + 1, tail))
    high = 1.0 if hits == trials else float(betaincinv(hits + 1, trials - hits, 1 - tail))
    return low, high
