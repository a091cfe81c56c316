"""The chip's converter: a line, the jumps and the curve that boards were measured with, and noise.

Drawn from frontend/converters.toml: each jump about its mean, as boards differ, more for the mean of three boards being
itself not known better; of the curve that all boards share, any part. A table can stand for all of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.errors import InputError
from sweeprig.frontend.converters import Law, curve_at, in_order, jumps_up_to, laws

FloatArray = NDArray[np.float64]

CODES: int = wire.CODES
WIDE_CODES = (511, 1535, 2559, 3583)
FINE = 16  # steps of the look-up table in one LSB; noise hides them
BELOW = 64  # LSB of the table below zero input
ABOVE = 192
SPREAD = 1.3  # times the spread of three boards: c4 of three, and their mean's own (textbook)


@dataclass(frozen=True)
class Odd:
    """A board unlike those that were measured (invented)."""

    jumps_times: float = 3.0  # jumps differ from the law's this much more
    shared: bool = True  # a wide code's extra width lies on two neighbouring codes
    bow_lsb: tuple[float, float] = (1.0, 2.5)  # size of a smooth curve, largest departure
    waves: int = 4  # half waves over the range, at most, that the curve is made of; the k-th is 1/k as large
    zero_code: tuple[float, float] = (8.0, 24.0)
    slope: tuple[float, float] = (-0.010, -0.004)


CHIPS: dict[str, Odd | None] = {"rp2040": None, "rp2350": None, "rp2040-odd": Odd()}


@dataclass(frozen=True)
class Converter:
    """One board's converter. `levels` are in ideal LSB: input over reference times 4096."""

    levels: FloatArray  # (4095,) input at which code k+1 begins
    noise_lsb: float
    table: NDArray[np.uint16]  # code for each step of 1/FINE LSB from -BELOW on

    def codes(self, u_lsb: FloatArray) -> NDArray[np.uint16]:
        """Return the code (n,) for inputs (n,) in ideal LSB, without noise, exactly."""
        return np.searchsorted(self.levels, u_lsb, side="right").astype(np.uint16)


def _board(law: Law, odd: Odd | None, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Return where codes 1 to 4095 begin and the line through that, (slope, at code 0).

    Drawn again until the widest code and the largest departure lie where boards were measured, but for an odd one.
    """
    code = np.arange(1.0, CODES)
    while True:
        begins = _begins(law, odd, rng)
        line = np.polyfit(code, begins, 1)
        departs = float(np.abs(begins - np.polyval(line, code)).max())
        extra = float(np.diff(begins).max()) - 1.0
        if odd or (_within(extra, law.widest_lsb) and _within(departs, law.largest_lsb)):
            return begins, line


def _within(value: float, pair: tuple[float, float]) -> bool:
    return pair[0] <= value <= pair[1]


def _begins(law: Law, odd: Odd | None, rng: np.random.Generator) -> FloatArray:
    """Return where codes 1 to 4095 begin, before gain and offset [LSB]."""
    code, times = np.arange(1.0, CODES), SPREAD * (odd.jumps_times if odd else 1.0)
    sizes = rng.multivariate_normal(law.sizes_lsb, times**2 * law.sizes_cov)
    departs = jumps_up_to(code - 0.5) @ sizes + rng.uniform() * curve_at(code - 0.5, law.curve)
    departs += rng.normal(0.0, law.rough_lsb, code.size)
    if odd is not None:
        departs += _bow(odd, rng) - _moved(odd, sizes, rng)
    return in_order(code + departs)


def _moved(odd: Odd, sizes: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return what the edge above each wide code begins earlier where the next code has a share of its width."""
    out, wide = np.zeros(CODES - 1), np.array(WIDE_CODES)
    if odd.shared:
        out[wide] = sizes[[9, 11, 13, 15]] * rng.uniform(0.2, 0.8, wide.size)
    return out


def _bow(odd: Odd, rng: np.random.Generator) -> FloatArray:
    along, k = np.linspace(0.0, np.pi, CODES - 1), np.arange(1, odd.waves + 1)
    size, phase = rng.normal(size=k.size) / k, rng.uniform(0.0, 2 * np.pi, k.size)
    shape = size @ np.cos(np.outer(k, along) + phase[:, None])
    shape -= np.polyval(np.polyfit(along, shape, 1), along)
    return np.asarray(rng.uniform(*odd.bow_lsb) * shape / np.abs(shape).max())


def draw_converter(chip: str, rng: np.random.Generator, *, noise_lsb: float | None = None) -> Converter:
    """Return one board's converter; InputError for a chip that is not known."""
    if chip not in CHIPS:
        raise InputError(
            "This chip is not known.", seen=repr(chip), limit=", ".join(CHIPS), next_step="Choose one."
        )
    law, odd = laws()[chip.removesuffix("-odd")], CHIPS[chip]
    begins, at_code = _board(law, odd, rng)
    zero, slope = (rng.uniform(*pair) for pair in ((odd or law).zero_code, (odd or law).slope))
    levels = ((begins - at_code[1]) / at_code[0] - zero) / (1.0 + slope)
    noise = float(rng.uniform(*law.noise_lsb))
    return converter_of(levels, noise if noise_lsb is None else noise_lsb)


def converter_of(levels: FloatArray, noise_lsb: float) -> Converter:
    """Return the converter in which code k+1 begins at levels (4095,), ideal LSB, rising or level."""
    grid = (np.arange((CODES + BELOW + ABOVE) * FINE) + 0.5) / FINE - BELOW
    return Converter(levels, noise_lsb, np.searchsorted(levels, grid, side="right").astype(np.uint16))
