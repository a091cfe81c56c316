"""Round numbers for the axes of a drawing."""

from __future__ import annotations

import math


def step_of(span: float, n: int) -> float:
    """Return the 1, 2 or 5 times a power of ten that divides `span` into at most about `n` parts."""
    if span <= 0 or not math.isfinite(span):
        return 1.0
    rough = span / n
    unit = 10.0 ** math.floor(math.log10(rough))
    return next(unit * m for m in (1, 2, 5, 10) if unit * m >= rough * (1 - 1e-9))


def ticks(low: float, high: float, n: int) -> list[float]:
    """Return the round values between low and high, both included where they are round."""
    step = step_of(high - low, n)
    first = math.ceil(low / step - 1e-9)
    return [k * step for k in range(first, math.floor(high / step + 1e-9) + 1)]
