"""Edges kept from a ramp: usual codes averaged, odd ones exactly."""

from __future__ import annotations

import numpy as np

from sweeprig.calibration.density import EDGES_AT, density_linearity, departures_left, ramp_density

CODES = 400
ODD = 150


def rough(seed: int = 3) -> np.ndarray:
    """Counts of a fine ramp over codes of unlike width, one of them 9 LSB wider."""
    widths = 1.0 + np.random.default_rng(seed).normal(0.0, 0.2, CODES)
    widths[ODD] += 9.0
    return np.round(2000 * widths).astype(np.int64)


def left_under_noise(seed: int) -> np.ndarray:
    """What is left of the departures once noise of 1 LSB has averaged them, away from the wide code [LSB]."""
    density = ramp_density(rough(seed))
    found = density_linearity(density)
    edges = np.append(density.code[0] - 0.5, density.code + 0.5)
    left, at = departures_left(edges, found, density), int(np.flatnonzero(density.code == ODD)[0])
    noise = np.exp(-0.5 * np.arange(-4, 5) ** 2)
    noise /= noise.sum()
    return np.concatenate([np.convolve(part, noise, "valid") for part in (left[: at + 1], left[at + 1 :])])


def test_kept_edges_are_means_so_that_less_is_left_under_noise() -> None:
    """Sampled edges would leave 0.10 LSB here."""
    left = np.concatenate([left_under_noise(seed) for seed in range(6)])
    assert np.sqrt(np.mean(left**2)) < 0.09


def test_a_wide_code_stays_sharp() -> None:
    density = ramp_density(rough())
    found = density_linearity(density)
    wide = float(np.diff(np.interp([ODD - 0.5, ODD + 0.5], found.code, found.error_lsb))[0])
    seen = float(density.dnl_lsb[density.code == ODD][0])
    assert abs(-wide - seen) < 0.4


def test_edges_beside_a_wide_code_are_averaged_on_their_side() -> None:
    counts = np.full(CODES, 2000)
    counts[ODD] = 20000
    density = ramp_density(counts)
    found = density_linearity(density)
    edges = np.append(density.code[0] - 0.5, density.code + 0.5)
    near = np.abs(edges - ODD) <= 3 * EDGES_AT
    assert np.abs(departures_left(edges, found, density)[near]).max() < 0.1
