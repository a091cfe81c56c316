"""Linearity of a converter from how often each code comes while a slow, straight ramp is applied.

IEEE Std 1241, code density with a ramp: a code's share of the counts is its width. DNL[k] = W[k]/Q - 1, Q the mean
width of the codes inside; INL is their running sum.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sweeprig.calibration.codes import corrected
from sweeprig.calibration.model import FloatArray, Linearity
from sweeprig.errors import CalibrationError

FEWEST_HITS = 30  # mean counts of a code; fewer leave its width to chance
EDGES_AT = 4  # every how many codes an edge is kept, apart from those of odd codes
ODD_DNL = 1.0  # LSB
MOST_NOISE_LSB = 1.5  # of a single conversion, measured on boards: 0.51 to 1.36
BETWEEN_LSB = 0.1  # of a mean, for edges between those kept: what noise leaves of them (codes.py), assumed


@dataclass(frozen=True)
class Density:
    """Widths of the codes inside a ramp. Lengths m = number of codes between the first and last that came."""

    code: NDArray[np.int64]  # (m,)
    width_lsb: FloatArray  # (m,) of the mean width
    dnl_lsb: FloatArray  # (m,)
    hits: float  # mean counts of a code


def ramp_density(counts: NDArray[np.integer], *, first_code: int = 0) -> Density:
    """Return the widths of codes from counts (n,) of a linear ramp that goes beyond both ends.

    The first and last code that came are open towards the ramp's ends and are left out. Raises CalibrationError for too
    few codes or counts.
    """
    counts = np.asarray(counts, np.int64)
    came = np.flatnonzero(counts)
    if came.size < 4:
        raise CalibrationError(
            "The ramp covers too few codes.",
            seen=f"{came.size} codes",
            limit="at least 4",
            next_step="apply a ramp over the whole range while the histogram is taken",
        )
    inside = counts[came[0] + 1 : came[-1]].astype(np.float64)
    hits = float(inside.mean())
    width = inside / hits
    dnl = width - 1.0
    code = first_code + np.arange(came[0] + 1, came[-1])
    return Density(code, width, dnl, hits)


def density_linearity(density: Density, *, ramp_u_lsb: float = 0.0) -> Linearity:
    """Return the departure from the least-squares line that a ramp showed, at edges of codes.

    What is kept of usual codes is the mean over EDGES_AT edges: single ones are averaged by the noise anyway.
    u combines the ramp's own departure from a straight line [LSB, standard uncertainty] with chance: only conversions
    near an edge are left to the noise s, so an edge is known to sqrt(0.56 s / hits), a mean of edges accordingly
    better. Noise and a rounded ramp are not told apart from width. Raises CalibrationError for too few counts.
    """
    if density.hits < FEWEST_HITS:
        raise CalibrationError(
            "The ramp is too fast to count codes.",
            seen=f"{density.hits:.1f} counts of each code",
            limit=f"at least {FEWEST_HITS}",
            next_step="slow the ramp or take more windows",
        )
    edges = np.append(density.code[0] - 0.5, density.code + 0.5)
    level = np.append(0.0, np.cumsum(density.width_lsb))  # input at each edge
    slope, at_zero = np.polyfit(level, edges, 1)
    error = edges - at_zero - slope * level
    odd = np.flatnonzero(np.abs(density.dnl_lsb) > ODD_DNL)
    error = _smooth(error, odd)
    keep = np.unique(np.concatenate([np.arange(0, edges.size, EDGES_AT), odd, odd + 1, [edges.size - 1]]))
    chance = math.sqrt(0.56 * MOST_NOISE_LSB / density.hits / (EDGES_AT + 1))
    return Linearity(edges[keep], error[keep], math.hypot(chance, ramp_u_lsb, BETWEEN_LSB), "histogram")


def _smooth(error: FloatArray, odd: NDArray[np.intp]) -> FloatArray:
    """Return the moving mean over EDGES_AT + 1 edges, never across an odd code (between its edges odd and odd + 1)."""
    out, kernel = error.copy(), np.ones(EDGES_AT + 1)
    cuts = [0, *(odd + 1), error.size]
    for start, stop in itertools.pairwise(cuts):
        if stop - start > kernel.size:
            held = np.convolve(np.ones(stop - start), kernel, "same")
            out[start:stop] = np.convolve(error[start:stop], kernel, "same") / held
    return out


def departures_left(code: FloatArray, linearity: Linearity, density: Density) -> FloatArray:
    """Return what a linearity leaves of the departures that a ramp shows, at edges of codes (n,) [LSB].

    The line through what is left is taken off, as a calibration would.
    """
    edges = np.append(density.code[0] - 0.5, density.code + 0.5)
    level = np.append(0.0, np.cumsum(density.width_lsb))
    straight = corrected(edges, linearity)
    slope, at_zero = np.polyfit(level, straight, 1)
    return np.asarray(np.interp(code, edges, straight - at_zero - slope * level))
