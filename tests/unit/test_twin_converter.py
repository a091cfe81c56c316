"""The simulated converter against public measurements of real ones."""

from __future__ import annotations

import numpy as np
import pytest

from sweeprig.errors import InputError
from sweeprig.twin.converter import BELOW, CODES, FINE, WIDE_CODES, Converter, draw_converter


def draws(chip: str, n: int = 25) -> list[Converter]:
    return [draw_converter(chip, np.random.default_rng(s)) for s in range(n)]


def line(levels: np.ndarray) -> tuple[float, np.ndarray]:
    """Least-squares slope of code over input, and what is left (IEEE 1241, from memory)."""
    code = np.arange(1, CODES)
    slope, at_zero = np.polyfit(levels, code, 1)
    return slope, code - slope * levels - at_zero


def test_rp2040_has_four_wide_codes_below_the_erratum() -> None:
    """RP2040-E11; a board's widest has a DNL of +7.7 to +10 LSB, five boards, public data."""
    for converter in draws("rp2040"):
        dnl = np.diff(converter.levels) / np.median(np.diff(converter.levels)) - 1
        wide = np.flatnonzero(dnl > 3.0) + 1
        assert tuple(wide) == WIDE_CODES
        assert dnl[wide - 1].min() > 5.5
        assert 7.3 < dnl[wide - 1].max() < 10.4


def test_a_ramp_meets_wide_codes_as_often_as_they_are_wide() -> None:
    """Histogram of a fine ramp (IEEE 1241, from memory): counts over the mean are widths."""
    converter = draws("rp2040", 1)[0]
    counts = np.bincount(converter.codes(np.arange(50.0, 4000.0, 0.02)), minlength=CODES)
    typical = np.median(counts[100:3900])
    assert set(np.flatnonzero(counts[100:3900] > 5 * typical) + 100) == set(WIDE_CODES)


def test_gain_zero_and_departure_lie_where_boards_were_measured() -> None:
    """RP2040: slope 0.59 to 0.71 % below one, 12 to 19 at zero input, INL 5.9 to 6.2 LSB; public data, five boards."""
    worst = []
    for converter in draws("rp2040"):
        slope, rest = line(converter.levels)
        assert -0.0072 < slope - 1 < -0.0058
        assert 12 <= int(converter.codes(np.array([0.0]))[0]) <= 19
        worst.append(np.abs(rest).max())
    assert min(worst) > 5.4
    assert max(worst) < 6.4


def test_rp2350_has_no_wide_codes() -> None:
    """RP2350: slope 0.30 to 0.37 % below one, INL 1.8 to 3.3 LSB, DNL at most +1.3, 0 to 10 at zero; public data."""
    for converter in draws("rp2350"):
        assert (np.diff(converter.levels)).max() < 2.3
        assert 1.7 < np.abs(line(converter.levels)[1]).max() < 3.2
        assert int(converter.codes(np.array([0.0]))[0]) <= 10
        assert -0.0038 < line(converter.levels)[0] - 1 < -0.0029


def test_rp2350_steps_where_boards_were_measured() -> None:
    """Every one of five boards steps by 1.5 to 2 LSB within 100 codes near 1500..1600, and near 2500..2600."""
    for converter in draws("rp2350"):
        rest = line(converter.levels)[1]
        for low in (1500, 2500):
            near = rest[low - 1 : low + 99]
            assert 0.8 < near.max() - near.min() < 3.5


def test_odd_variant_departs_from_the_usual_steps() -> None:
    widths = [np.diff(c.levels) for c in draws("rp2040-odd", 5)]
    next_to_usual = [w[np.array(WIDE_CODES)] for w in widths]  # the codes above the usual ones
    assert min(n.max() for n in next_to_usual) > 3.0


def test_table_agrees_with_the_levels() -> None:
    converter = draws("rp2040", 1)[0]
    u = np.random.default_rng(1).uniform(-20, 4120, 20000)
    by_table = converter.table[((u + BELOW) * FINE).astype(int)].astype(int)
    low, exact, high = (converter.codes(u + k / FINE).astype(int) for k in (-1, 0, 1))
    assert ((low <= by_table) & (by_table <= high)).all()
    assert np.mean(by_table != exact) < 1.0 / FINE
    assert (np.diff(converter.table.astype(int)) >= 0).all()


def test_an_unknown_chip_is_named() -> None:
    with pytest.raises(InputError, match="rp9999"):
        draw_converter("rp9999", np.random.default_rng(0))
