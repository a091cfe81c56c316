"""Known departures of the board's converters from a straight line, before anything is measured.

Steps and curve of frontend/converters.toml, which come from three boards of each chip; two of each were kept out.
What a board differs from their mean is unknown, with the covariance of `departure_covariance`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.calibration.model import FloatArray, Linearity
from sweeprig.frontend.converters import Law, curve_at, jumps_up_to, laws

CODES: int = wire.CODES
FINEST = 8  # smallest power of two below whose multiples a jump is taken out; those of smaller ones are below 0.15 LSB
CURVE_SHARE = (
    0.5  # of the curve that ten boards share: the converter's, or the bench's on which all were measured
)
FEW_BOARDS = 2.0  # times the spread that three boards showed: three show too little of it
RANGE_OF_FIVE = 1.5  # times the range of five boards, (n + 1) / (n - 1) of an even distribution
WANDER_LSB, WANDER_CODES = 0.4, 800.0  # a departure beyond the law that wanders: assumed
BIG = np.arange(CODES // 32, CODES, CODES // 32)  # numbers below which jumps may be larger than 0.5 LSB
WIDE_CODES = (511, 1535, 2559, 3583)  # RP2040-E11 (RP2040 datasheet, errata), the ones below
UNKNOWN_LSB = 2.4  # standard deviation of such a departure of a chip that is not known: assumed


@dataclass(frozen=True)
class ChipFacts:
    """What is known of a chip's converter before anything is measured: lowest and highest of the line."""

    zero_code: tuple[float, float]  # corrected code at zero input
    gain_error: tuple[float, float]  # slope of code against input, less one


UNKNOWN = ChipFacts((-8.0, 19.0), (-0.01, 0.01))


def chip_facts(chip: str) -> ChipFacts:
    """Return what is known of a chip; wide bounds for one that is not known."""
    law = laws().get(chip)
    if law is None:
        return UNKNOWN
    zero = (law.zero_code[0] - 0.5, law.zero_code[1] - 0.5)  # from edges of codes to mean codes
    return ChipFacts(_wider(zero), _wider(law.slope))


def _wider(pair: tuple[float, float]) -> tuple[float, float]:
    middle, half = sum(pair) / 2, RANGE_OF_FIVE * half_width(pair)
    return middle - half, middle + half


def half_width(pair: tuple[float, float]) -> float:
    """Return half the distance of a pair."""
    return abs(pair[1] - pair[0]) / 2


def rectangular(half: float) -> float:
    """Return the standard uncertainty of a rectangular distribution of this half-width (JCGM 100, 4.3.7)."""
    return half / math.sqrt(3.0)


@lru_cache(maxsize=4)
def nominal_linearity(chip: str) -> Linearity | None:
    """Return the law's jumps and curve as departures from the least-squares line; None for an unknown chip.

    A departure is given at the edges of codes (k - 0.5) and is straight between them, so a wide code's own middle
    is half its extra width above its number. A code above jumps of width w in all stands for an input w higher than
    its number says.
    """
    law = laws().get(chip)
    if law is None:
        return None
    jumps = np.arange(FINEST, CODES, FINEST)
    edges = np.unique(np.concatenate([[-0.5, CODES - 0.5], jumps - 1.5, jumps - 0.5]))
    missing = jumps_up_to(edges) @ law.sizes_lsb + CURVE_SHARE * curve_at(edges, law.curve)
    error = edges - np.maximum.accumulate(edges + missing)  # no code is narrower than nothing
    left = np.sqrt(np.mean(np.diag(_covariance(law, edges, edges))))
    return Linearity(edges, np.round(error, 4), float(left), "nominal")


@lru_cache(maxsize=4)
def nodes(chip: str) -> FloatArray:
    """Return the corrected codes at which departures measured by points are kept."""
    whole = np.unique(np.concatenate([np.linspace(0.0, CODES, 65), BIG - 1.5, BIG - 0.5]))
    return corrected(whole, nominal_linearity(chip))


def corrected(codes: NDArray[np.floating[Any]], linearity: Linearity | None) -> FloatArray:
    """Return single codes (any shape) with the departures taken off; NaN stays NaN. For means see expected.py."""
    if linearity is None:
        return np.asarray(codes, np.float64)
    return np.asarray(codes - np.interp(codes, linearity.code, linearity.error_lsb))


def widest(code: float, linearity: Linearity | None) -> float:
    """Return the width [LSB] of the code in which a mean code lies, as `linearity` gives it; 1 where ideal."""
    if linearity is None:
        return 1.0
    edges = np.array([math.floor(code + 0.5) - 0.5, math.floor(code + 0.5) + 0.5])
    return float(np.diff(corrected(edges, linearity))[0])


def departure_covariance(
    code: FloatArray, other: FloatArray, *, chip: str, wander: float = 1.0
) -> FloatArray:
    """Return the covariance [LSB2] of a converter's unknown departures at two sets of codes, (n,), (m,) -> (n, m).

    By what the sizes of its jumps differ from the law's, by how much of the curve it has (evenly from none to all),
    a departure beyond the law that wanders, s^2 exp(-|c - c'| / L), `wander` times the usual s, and what a single edge
    departs. Codes have the law's departures taken off.
    """
    usual, both = nominal_linearity(chip), (np.asarray(code, np.float64), np.asarray(other, np.float64))
    if usual is None:
        return _covariance(None, *both, wander)
    straight = corrected(usual.code, usual)
    a, b = (np.interp(c, straight, usual.code) for c in both)
    return _covariance(laws()[chip], a, b, wander)


def _covariance(law: Law | None, a: FloatArray, b: FloatArray, wander: float = 1.0) -> FloatArray:
    apart = a[:, None] - b[None, :]
    wander_lsb = wander * (UNKNOWN_LSB if law is None else WANDER_LSB)
    beyond = wander_lsb**2 * np.exp(-np.abs(apart) / WANDER_CODES)
    rough = _rough_lsb(law) ** 2 * (np.abs(apart) < 0.5)
    if law is None:
        return np.asarray(beyond + rough)
    sizes = FEW_BOARDS**2 * jumps_up_to(a) @ law.sizes_cov @ jumps_up_to(b).T
    curve = rectangular(0.5) ** 2 * np.outer(curve_at(a, law.curve), curve_at(b, law.curve))
    return np.asarray(sizes + curve + beyond + rough)


def _rough_lsb(law: Law | None) -> float:
    """Return what a single edge departs: about the law, and the jumps that are not taken out."""
    if law is None:
        return 0.2
    small = law.sizes_lsb[: FINEST.bit_length() - 1]
    return math.hypot(law.rough_lsb, 0.5 * float(np.linalg.norm(small)))
