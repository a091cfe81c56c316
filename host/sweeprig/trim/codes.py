"""Known departures of the board's converters from a straight line.

RP2040-E11 (RP2040 datasheet, errata): wide codes below 512, 1536, 2560 and 3584. Five boards, public data: each is
7.7 to 10.0 LSB wider than the others, 12 to 19 at zero input, gain +0.65 to +0.74 %. RP2350: no wide codes, 0 to 10
at zero, departures of 1.8 to 3.1 LSB from the best straight line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sweeprig.trim.model import FloatArray, Linearity

CODES = 4096
WIDE_CODES = (511, 1535, 2559, 3583)


@dataclass(frozen=True)
class ChipFacts:
    """What is known of a chip's converter before anything is measured. Pairs are lowest and highest seen."""

    wide_lsb: tuple[float, float]  # extra width of each wide code
    zero_code: tuple[float, float]  # code at zero input
    gain: tuple[float, float]  # slope less one
    bent_lsb: float  # half-width of departures from the straight line, nothing corrected
    rest_lsb: float  # half-width of what is left once the nominal wide codes are taken out


CHIPS = {
    "rp2040": ChipFacts((7.7, 10.0), (12.0, 19.0), (0.0065, 0.0074), 6.1, 2.6),
    "rp2350": ChipFacts((0.0, 0.0), (0.0, 10.0), (-0.002, 0.002), 3.1, 3.1),
}
UNKNOWN = ChipFacts((0.0, 10.0), (0.0, 19.0), (-0.01, 0.01), 6.1, 6.1)


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

    A code above k wide codes of extra width w stands for an input k w higher than its number says.
    """
    facts = chip_facts(chip)
    wide = sum(facts.wide_lsb) / 2
    if wide == 0 or chip not in CHIPS:
        return None
    code = np.arange(CODES, dtype=np.float64)
    missing = wide * np.searchsorted(np.array(WIDE_CODES) + 0.5, code)
    slope, at_zero = np.polyfit(code, missing, 1)
    corners = np.array(sorted({0, CODES - 1, *WIDE_CODES, *(w + 1 for w in WIDE_CODES)}))
    error = -(missing - slope * code - at_zero)[corners]  # straight between corners
    return Linearity(corners.astype(np.float64), error, rectangular(facts.rest_lsb), "nominal")


def corrected(codes: FloatArray, linearity: Linearity | None) -> FloatArray:
    """Return codes (any shape) with the departures taken off, interpolated between codes; NaN stays NaN."""
    if linearity is None:
        return codes
    return codes - np.interp(codes, linearity.code, linearity.error_lsb)
