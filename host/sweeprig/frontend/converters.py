"""The law that measured converters obey: jumps below round numbers, and a curve. Figures in converters.toml.

The input at which code k begins departs from a straight line by the sum of all jumps up to k, less that sum's own
least-squares line: J(k) = sum over i <= k of s(i), s(i) the size of i's tooth or eighth.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire

FloatArray = NDArray[np.float64]
Shapes = Callable[[FloatArray], FloatArray]  # of codes (n,), (n, m)
CODES: int = wire.CODES
EIGHTH = CODES // 8
ALIKE = 0.8  # correlation of two eighths that lie as far from either end: seen on all boards


@dataclass(frozen=True)
class Law:
    """One chip. Sizes are (n_jumps,), teeth first; covariance (n_jumps, n_jumps). LSB of the input."""

    zero_code: tuple[float, float]  # where the least-squares line of code against input meets zero input
    slope: tuple[float, float]  # of that line, less one
    noise_lsb: tuple[float, float]
    widest_lsb: tuple[float, float]  # extra width of a board's widest code
    largest_lsb: tuple[float, float]  # a board's largest departure from its least-squares line
    rough_lsb: float  # standard deviation of single edges about the law
    sizes_lsb: FloatArray
    sizes_cov: FloatArray  # between boards, as the boards showed it
    curve: FloatArray  # (4,) x^2 to x^5


_PAIRS = ("zero_code", "slope", "noise_lsb", "widest_lsb", "largest_lsb")


@lru_cache(maxsize=1)
def laws() -> dict[str, Law]:
    """Return the law of each chip."""
    text = files("sweeprig.frontend").joinpath("converters.toml").read_text(encoding="utf-8")
    return {chip: _law(row) for chip, row in tomllib.loads(text).items()}


def _law(row: Mapping[str, Any]) -> Law:
    sizes = np.array([*row["teeth"], *row["eighths"]])
    n = len(row["teeth"])
    same = np.eye(len(sizes))
    for k in (0, 1, 2):
        one, other = n + k, n + 6 - k
        same[one, other] = same[other, one] = ALIKE
    rest = {key: tuple(row[key]) for key in _PAIRS}
    cov = sizes[:, 1:] * same * sizes[:, 1]
    return Law(
        **rest, rough_lsb=row["rough_lsb"], sizes_lsb=sizes[:, 0], sizes_cov=cov, curve=np.array(row["curve"])
    )


def jumps_up_to(code: FloatArray) -> FloatArray:
    """Return how many jumps of each size lie below codes (n,), less each count's least-squares line, (n, n_jumps).

    A jump below k lies in the middle of code k - 1.
    """
    return _less_line(_counts, np.asarray(code, np.float64))


def curve_at(code: FloatArray, curve: FloatArray) -> FloatArray:
    """Return a curve (4,) of x^2 to x^5 at codes (n,), less its least-squares line."""
    return np.asarray(_less_line(_powers, np.asarray(code, np.float64)) @ curve)


def _less_line(shapes: Shapes, code: FloatArray) -> FloatArray:
    slope, at_zero = _lines(shapes)
    return shapes(code) - code[:, None] * slope - at_zero


@lru_cache(maxsize=2)
def _lines(shapes: Shapes) -> tuple[FloatArray, FloatArray]:
    edges = np.arange(CODES + 1, dtype=np.float64) - 0.5
    slope, at_zero = np.polyfit(edges, shapes(edges), 1)
    return slope, at_zero


def _powers(code: FloatArray) -> FloatArray:
    x = (code - CODES / 2) / (CODES / 2)
    return np.stack([x**p for p in (2, 3, 4, 5)], axis=1)


def _counts(code: FloatArray) -> FloatArray:
    last = np.clip(np.ceil(code), 0, CODES - 1).astype(np.int64)  # the highest k whose jump lies below
    teeth = [(last // 2**t + 1) // 2 for t in range(9)]
    eighths = [last >= EIGHTH * (k + 1) for k in range(7)]
    return np.stack([np.asarray(c, np.float64) for c in (*teeth, *eighths)], axis=1)


def in_order(begins: FloatArray) -> FloatArray:
    """Return where codes 1 to 4095 begin once the search has gone through the bits, highest first.

    A step of the search never leaves what the higher bits have decided, so a jump below -1 makes a missing code.
    """
    out = np.concatenate([[-np.inf], begins])
    low, high = np.array([-np.inf]), np.array([np.inf])
    for bit in reversed(range(CODES.bit_length() - 1)):
        middle = out[2**bit :: 2 ** (bit + 1)] = np.clip(out[2**bit :: 2 ** (bit + 1)], low, high)
        low, high = (np.stack(pair, axis=1).reshape(-1) for pair in ((low, middle), (middle, high)))
    return np.asarray(out[1:])
