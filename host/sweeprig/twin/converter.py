"""The chip's converter: offset, gain, wide codes, curvature, noise.

Measured on five boards of each chip, public data: RP2040 has one wide code below each of 512, 1536, 2560 and
3584 (DNL +7.7 to +10 LSB), least-squares INL of 5.7 to 6.1 LSB, 12 to 19 at zero input, gain +0.65 to +0.74 %;
RP2350 has no wide codes, INL 1.8 to 3.1 LSB, 0 to 10 at zero. Noise: median 0.51 LSB; 0.97 (power save mode of
the board's regulator) and 1.36 (PWM) in another report. The erratum is RP2040-E11 in the RP2040 datasheet.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sweeprig.errors import InputError

FloatArray = NDArray[np.float64]

CODES = 4096
WIDE_CODES = (511, 1535, 2559, 3583)
FINE = 16  # steps of the look-up table in one LSB; noise hides them
BELOW = 64  # LSB of the table below zero input
ABOVE = 192


@dataclass(frozen=True)
class Chip:
    """What the converters of one chip have in common; pairs are drawn between, board by board."""

    name: str
    wide_lsb: tuple[float, float]  # extra width of each wide code
    shared: bool  # the extra width lies on two neighbouring codes
    bow_lsb: tuple[float, float]  # curvature, largest departure
    zero_code: tuple[int, int]
    gain: tuple[float, float]  # least-squares slope, less one
    dnl_lsb: float  # standard deviation of the other codes' widths
    noise_lsb: tuple[float, float]


CHIPS = {
    "rp2040": Chip("rp2040", (7.7, 10.0), False, (0.4, 1.2), (12, 19), (0.0065, 0.0074), 0.12, (0.45, 1.4)),
    # off the nominal: unlike steps that lie on two codes, and a deeper curve (invented)
    "rp2040-odd": Chip("rp2040", (5.0, 12.0), True, (1.5, 2.5), (8, 24), (0.004, 0.010), 0.2, (0.6, 1.6)),
    "rp2350": Chip("rp2350", (0.0, 0.0), False, (1.6, 2.6), (0, 10), (-0.002, 0.002), 0.15, (0.35, 0.9)),
}  # fmt: skip


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
    widths = np.ones(CODES)
    for code in WIDE_CODES:
        extra = rng.uniform(*chip.wide_lsb)
        share = rng.uniform(0.2, 0.8) if chip.shared else 1.0
        widths[code] += extra * share
        widths[code + 1] += extra * (1.0 - share)
    begins = np.cumsum(widths)[:-1] + rng.normal(0.0, chip.dnl_lsb / np.sqrt(2.0), CODES - 1)
    at = np.linspace(-1.0, 1.0, CODES - 1)
    shape = rng.choice([-1.0, 1.0]) * (at**2 - 1 / 3) * 1.5 + rng.uniform(-0.5, 0.5) * 2.5 * (
        at**3 - 0.6 * at
    )
    return np.asarray(np.sort(begins + rng.uniform(*chip.bow_lsb) * shape))


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
