"""Known departures of the board's converters from a straight line, before anything is measured.

RP2040-E11 (RP2040 datasheet, errata): wide codes below 512, 1536, 2560 and 3584. Five boards, public data: the
widest of each board is 7.7 to 10.0 LSB wider than other codes, 12 to 19 at zero input, gain +0.65 to +0.74 %. RP2350:
no wide codes, 0 to 10 at zero, departures of 1.8 to 3.1 LSB from the best straight line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.trim.model import FloatArray, Linearity

CODES: int = wire.CODES
WIDE_SPREAD = (
    2.0  # times the range seen: five boards, and of each only its widest code, show too little of it
)
BEND_CODES = 800.0  # codes over which a smooth departure changes: assumed, a fifth of the range
EDGE_LSB = 0.2  # standard deviation of one code's edge about the smooth departure: assumed
WIDE_CODES = (511, 1535, 2559, 3583)


@dataclass(frozen=True)
class ChipFacts:
    """What is known of a chip's converter before anything is measured. Pairs are lowest and highest seen.

    `bend_lsb` is chosen so that departures drawn from `departure_covariance` have the published largest departure
    from their least-squares line (a test draws them).
    """

    wide_lsb: tuple[float, float]  # extra width of each wide code
    zero_code: tuple[float, float]  # code at zero input
    gain: tuple[float, float]  # slope less one
    bent_lsb: float  # half-width of departures from the straight line, nothing corrected
    rest_lsb: float  # half-width of what is left once the nominal wide codes are taken out
    bend_lsb: float  # standard deviation of the smooth departure


CHIPS = {
    "rp2040": ChipFacts((7.7, 10.0), (12.0, 19.0), (0.0065, 0.0074), 6.1, 2.6, 1.4),
    "rp2350": ChipFacts((0.0, 0.0), (0.0, 10.0), (-0.002, 0.002), 3.1, 3.1, 1.9),
}
UNKNOWN = ChipFacts((0.0, 10.0), (0.0, 19.0), (-0.01, 0.01), 6.1, 6.1, 2.4)


def chip_facts(chip: str) -> ChipFacts:
    """Return what is known of a chip; wide bounds for one that is not known."""
    return CHIPS.get(chip, UNKNOWN)


def half_width(pair: tuple[float, float]) -> float:
    """Return half the distance of a pair."""
    return abs(pair[1] - pair[0]) / 2


def rectangular(half: float) -> float:
    """Return the standard uncertainty of a rectangular distribution of this half-width (JCGM 100, 4.3.7)."""
    return half / math.sqrt(3.0)


def nominal_linearity(chip: str) -> Linearity | None:
    """Return the wide codes at their usual width, as departures from the least-squares line; None without any.

    A departure is given at the edges of codes (k - 0.5) and is straight between them, so a wide code's own middle
    is half its extra width above its number. A code above j wide codes of extra width w stands for an input j w
    higher than its number says.
    """
    facts = chip_facts(chip)
    wide = sum(facts.wide_lsb) / 2
    if wide == 0 or chip not in CHIPS:
        return None
    edges = np.arange(CODES + 1, dtype=np.float64) - 0.5
    missing = wide * np.searchsorted(np.array(WIDE_CODES) + 0.5, edges, side="right")
    slope, at_zero = np.polyfit(edges, missing, 1)
    corners = np.array(sorted({0, CODES, *WIDE_CODES, *(w + 1 for w in WIDE_CODES)}))
    error = -(missing - slope * edges - at_zero)[corners]  # straight between corners
    return Linearity(edges[corners], error, rectangular(facts.rest_lsb), "nominal")


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


def departure_covariance(code: FloatArray, other: FloatArray, *, chip: str) -> FloatArray:
    """Return the covariance [LSB2] of a converter's unknown departures at two sets of codes, (n,), (m,) -> (n, m).

    e(c) = sum over wide codes below c of what their extra width differs from the usual one, plus a smooth bend
    with covariance s^2 exp(-(c - c')^2 / 2 L^2), plus what a single edge departs from it.
    """
    facts = chip_facts(chip)
    a, b = np.asarray(code, np.float64)[:, None], np.asarray(other, np.float64)[None, :]
    bend = facts.bend_lsb**2 * np.exp(-0.5 * ((a - b) / BEND_CODES) ** 2)
    spread = rectangular(WIDE_SPREAD * half_width(facts.wide_lsb)) ** 2
    steps = sum(((a > w) * 1.0) * ((b > w) * 1.0) for w in WIDE_CODES)
    return np.asarray(bend + EDGE_LSB**2 * (np.abs(a - b) < 0.5) + spread * steps)
