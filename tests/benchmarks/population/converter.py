"""Models of two 12-bit converters inside microcontrollers: thresholds at the pin in volts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

CODES = 4096
SUB = 16
BELOW = 64
WIDE = (511, 1535, 2559, 3583)


@dataclass(frozen=True, eq=False)
class Converter:
    """One board's converter. transfer[k] is the lowest pin voltage that gives code k (k >= 1)."""

    chip: str
    vref_v: float
    noise_lsb: float
    transfer: NDArray[np.float64]

    def table(self) -> tuple[NDArray[np.uint16], float, float]:
        """A fine look-up table: index = volts * scale + offset, SUB entries a code."""
        lsb_v = self.vref_v / CODES
        volts = (np.arange((CODES + 2 * BELOW) * SUB) / SUB - BELOW) * lsb_v
        codes = np.searchsorted(self.transfer[1:], volts, side="right").astype(np.uint16)
        return codes, SUB / lsb_v, float(BELOW * SUB)


def _deviation(edges: NDArray[np.float64]) -> NDArray[np.float64]:
    """Code minus the best straight line through the code middles."""
    middle = np.append((edges[1:] + edges[:-1]) / 2.0, edges[-1] + 0.5)
    codes = np.arange(CODES, dtype=float)
    slope, start = np.polyfit(middle, codes, 1)
    return np.asarray(codes - (slope * middle + start), dtype=float)


def _slope(edges: NDArray[np.float64]) -> float:
    return float(np.polyfit(edges, np.arange(CODES, dtype=float), 1)[0])


def _scaled_bow(raw: NDArray[np.float64], bow: NDArray[np.float64], limit: float) -> NDArray[np.float64]:
    """Add as much of the smooth bow as brings the worst deviation to the limit."""
    low, high = 0.0, 12.0
    for _ in range(24):
        mid = (low + high) / 2.0
        if np.abs(_deviation(raw - mid * bow)).max() > limit:
            high = mid
        else:
            low = mid
    return np.asarray(np.maximum.accumulate(raw - low * bow))


def _placed(edges: NDArray[np.float64], *, slope: float, zero: int, phase: float) -> NDArray[np.float64]:
    """Stretch to the wanted slope and shift so that zero input gives the wanted code."""
    scaled = edges * (_slope(edges) / slope)
    return np.asarray(scaled - (scaled[zero] + phase * (scaled[zero + 1] - scaled[zero])))


def _edges_wide(rng: np.random.Generator) -> NDArray[np.float64]:
    """Four very wide codes (saw-tooth deviation), a smooth bow and a little code-to-code scatter."""
    widths = np.ones(CODES)
    widths[list(WIDE)] += rng.uniform(7.7, 10.0, 4)
    raw = np.concatenate(([0.0], np.cumsum(widths[:-1]))) + rng.normal(0.0, 0.12, CODES)
    k = np.arange(CODES) / CODES
    bow = np.sin(2 * np.pi * (rng.uniform(0.5, 1.0) * k + rng.uniform()))
    edges = _scaled_bow(raw, bow, rng.uniform(5.9, 6.2))
    return _placed(
        edges, slope=1 - rng.uniform(0.0059, 0.0071), zero=int(rng.integers(12, 20)), phase=rng.uniform()
    )


def _edges_stepped(rng: np.random.Generator) -> NDArray[np.float64]:
    """Two soft steps of the deviation near 1550 and 2550, a bow, moderate code-to-code scatter."""
    k = np.arange(CODES, dtype=float)
    raw = k + rng.normal(0.0, 0.15, CODES).clip(-0.5, 0.5)
    for centre in (1550.0, 2550.0):
        size, width = rng.uniform(1.5, 2.0) * rng.choice([-1.0, 1.0]), rng.uniform(60.0, 100.0)
        raw += size / (1.0 + np.exp(-(k - centre - rng.uniform(-10, 10)) / (width / 8.0)))
    bow = np.sin(2 * np.pi * (rng.uniform(0.5, 1.5) * k / CODES + rng.uniform()))
    edges = _scaled_bow(raw, bow, rng.uniform(2.3, 3.3))
    return _placed(
        edges, slope=1 - rng.uniform(0.0030, 0.0037), zero=int(rng.integers(0, 11)), phase=rng.uniform()
    )


def draw_converter(rng: np.random.Generator, chip: str, noise_lsb: float | None = None) -> Converter:
    """Draw one board's converter."""
    vref_v = 3.3 * (1.0 + float(rng.uniform(-0.01, 0.01)))
    edges = _edges_wide(rng) if chip == "rp2040" else _edges_stepped(rng)
    noise = float(rng.uniform(0.5, 1.0)) if noise_lsb is None else noise_lsb
    return Converter(chip, vref_v, noise, edges * vref_v / CODES)
