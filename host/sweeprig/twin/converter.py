"""The chip's converter: offset, gain, wide codes, curvature, noise.

Measured on five boards of each chip, public data: RP2040 has one wide code below each of 512, 1536, 2560 and 3584
(DNL of a board's widest +7.7 to +10 LSB), least-squares INL of 5.7 to 6.1 LSB, 12 to 19 at zero input, gain +0.65 to
+0.74 %; RP2350 has no wide codes, DNL up to 1.3, INL 1.8 to 3.1 LSB, 0 to 10 at zero. Noise: median 0.51 LSB; 0.97
(power save mode of the board's regulator) and 1.36 (PWM) in another report. The erratum is RP2040-E11 in the RP2040
datasheet, which gives a DNL below 1 LSB for all other codes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.errors import InputError

FloatArray = NDArray[np.float64]

CODES: int = wire.CODES
WIDE_CODES = (511, 1535, 2559, 3583)
FINE = 16  # steps of the look-up table in one LSB; noise hides them
BELOW = 64  # LSB of the table below zero input
ABOVE = 192


@dataclass(frozen=True)
class Chip:
    """What the converters of one chip have in common; pairs are drawn between, board by board.

    A board is drawn again until its widest code and its largest departure lie where boards were measured. How the
    widths of one board spread about its own level, and the shape of its bend, are invented.
    """

    name: str
    wide_lsb: tuple[float, float]  # level of the extra widths of one board
    wide_own_lsb: float  # by which each differs from it, at most
    shared: bool  # the extra width lies on two neighbouring codes
    bend_lsb: tuple[float, float]  # size of the bend, largest departure
    widest_lsb: tuple[float, float]  # published, of a board's widest code
    largest_lsb: tuple[float, float]  # published, from the least-squares line
    zero_code: tuple[int, int]
    gain: tuple[float, float]  # least-squares slope, less one
    dnl_lsb: float  # standard deviation of the other codes' widths: the largest of 4096 is 3.7 times as large
    noise_lsb: tuple[float, float]


ANY = (-np.inf, np.inf)
CHIPS = {
    "rp2040": Chip(
        "rp2040", (7.0, 9.4), 1.1, False, (0.8, 3.0), (7.7, 10.0), (5.5, 6.3), (12, 19), (0.0065, 0.0074),
        0.25, (0.45, 1.4)),
    # off the nominal: unlike steps that lie on two codes, and a deeper curve (invented)
    "rp2040-odd": Chip(
        "rp2040", (8.5, 8.5), 3.5, True, (1.5, 3.0), ANY, ANY, (8, 24), (0.004, 0.010), 0.3, (0.6, 1.6)),
    "rp2350": Chip(
        "rp2350", (0.0, 0.0), 0.0, False, (1.4, 3.6), ANY, (1.8, 3.1), (0, 10), (-0.002, 0.002), 0.3, (0.35, 0.9)),
}  # fmt: skip
BEND_WAVES = (
    4  # half waves over the range, at most, that a bend is made of; the k-th is 1/k as large (invented)
)


@dataclass(frozen=True)
class Converter:
    """One board's converter. `levels` are in ideal LSB: input over reference times 4096."""

    chip: Chip
    levels: FloatArray  # (4095,) input at which code k+1 begins
    noise_lsb: float
    table: NDArray[np.uint16]  # code for each step of 1/FINE LSB from -BELOW on

    def codes(self, u_lsb: FloatArray) -> NDArray[np.uint16]:
        """Return the code (n,) for inputs (n,) in ideal LSB, without noise, exactly."""
        return np.searchsorted(self.levels, u_lsb, side="right").astype(np.uint16)


def _begins(chip: Chip, rng: np.random.Generator) -> FloatArray:
    """Return where codes 1 to 4095 begin, before gain and offset [LSB]."""
    while True:
        extra = rng.uniform(*chip.wide_lsb) + rng.uniform(-1.0, 1.0, len(WIDE_CODES)) * chip.wide_own_lsb
        begins = np.sort(_steps(chip, extra, rng) + _bend(chip, rng))
        if _within(extra.max(), chip.widest_lsb) and _within(_largest(begins), chip.largest_lsb):
            return np.asarray(begins)


def _steps(chip: Chip, extra: FloatArray, rng: np.random.Generator) -> FloatArray:
    widths = np.ones(CODES)
    share = rng.uniform(0.2, 0.8, len(WIDE_CODES)) if chip.shared else np.ones(len(WIDE_CODES))
    at = np.array(WIDE_CODES)
    widths[at] += extra * share
    widths[at + 1] += extra * (1.0 - share)
    return np.asarray(np.cumsum(widths)[:-1] + rng.normal(0.0, chip.dnl_lsb / np.sqrt(2.0), CODES - 1))


def _bend(chip: Chip, rng: np.random.Generator) -> FloatArray:
    along, k = np.linspace(0.0, np.pi, CODES - 1), np.arange(1, BEND_WAVES + 1)
    size, phase = rng.normal(size=k.size) / k, rng.uniform(0.0, 2 * np.pi, k.size)
    shape = size @ np.cos(np.outer(k, along) + phase[:, None])
    shape -= np.polyval(np.polyfit(along, shape, 1), along)
    return np.asarray(rng.uniform(*chip.bend_lsb) * shape / np.abs(shape).max())


def _largest(begins: FloatArray) -> float:
    """Return the largest departure from the least-squares line [LSB]."""
    code = np.arange(1, CODES, dtype=float)
    slope, at_zero = np.polyfit(begins, code, 1)
    return float(np.abs(at_zero + slope * begins - code).max())


def _within(value: float, pair: tuple[float, float]) -> bool:
    return pair[0] <= value <= pair[1]


def draw_converter(chip: str, rng: np.random.Generator, *, noise_lsb: float | None = None) -> Converter:
    """Return one board's converter; InputError for a chip that is not known."""
    if chip not in CHIPS:
        raise InputError(
            "This chip is not known.", seen=repr(chip), limit=", ".join(CHIPS), next_step="Choose one."
        )
    kind = CHIPS[chip]
    begins = _begins(kind, rng)
    code = np.arange(1, CODES, dtype=float)
    slope, at_zero = np.polyfit(begins, code, 1)
    levels = (at_zero + slope * begins) / (1.0 + rng.uniform(*kind.gain))
    levels -= levels[int(rng.integers(kind.zero_code[0], kind.zero_code[1] + 1))] - 1e-9
    noise = float(rng.uniform(*kind.noise_lsb)) if noise_lsb is None else noise_lsb
    grid = (np.arange((CODES + BELOW + ABOVE) * FINE) + 0.5) / FINE - BELOW
    return Converter(kind, levels, noise, np.searchsorted(levels, grid, side="right").astype(np.uint16))
