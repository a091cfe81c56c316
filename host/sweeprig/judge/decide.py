"""One value against its limits, with the uncertainty counted."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sweeprig.judge.model import BudgetLine, Verdict

HOPELESS = 0.05  # of U: nearer to a limit than this, no measurement decides


def decide(
    value: float,
    *,
    u95: float,
    low: float = -math.inf,
    high: float = math.inf,
    guard_factor: float,
) -> Verdict:
    """Return pass, fail or undecided for one value; all in the unit of the value.

    Guard band w = guard_factor x U (ILAC-G8:09/2019, 4.2; JCGM 106:2012, 8.3): pass within [low + w, high - w],
    fail beyond [low - w, high + w], undecided between. With a factor of 0 every value is decided. NaN is undecided.
    """
    if math.isnan(value) or math.isnan(u95):
        return Verdict.UNDECIDED
    w = guard_factor * u95 if guard_factor else 0.0
    if low + w <= value <= high - w:
        return Verdict.PASS
    return Verdict.FAIL if value < low - w or value > high + w else Verdict.UNDECIDED


def nearest_limit(value: float, *, low: float, high: float) -> float:
    """Return the limit that a value is nearest to."""
    return low if abs(value - low) <= abs(value - high) else high


def would_decide(
    value: float,
    *,
    u95: float,
    low: float = -math.inf,
    high: float = math.inf,
    guard_factor: float,
    budget: Sequence[BudgetLine] = (),
    unit: str = "V",
) -> str:
    """Return in words what would decide an undecided value."""
    if high - low < 2 * guard_factor * u95:
        return (
            f"the interval of {high - low:.3g} {unit} is narrower than two guard bands of "
            f"{guard_factor * u95:.2g} {unit}: {remedy(budget)}, or a wider limit"
        )
    room = abs(value - nearest_limit(value, low=low, high=high))
    if room < HOPELESS * u95:
        return "it is on its limit: no measurement can decide; change the sensor, its mount or the limit"
    return f"the uncertainty of {u95:.2g} {unit} must be below {room / guard_factor:.2g} {unit}: {remedy(budget)}"


REMEDIES = (
    ("supply not observed", "observe the supply"),
    ("load", "measure the track's resistance and enter it (`--track-ohm`)"),
    ("rest", "more strokes with longer rests at this end"),
    ("level", "more strokes with longer rests at this end"),
    ("meter", "a calibration with a better meter"),
    ("linear", "a calibration of the converter's linearity"),
    ("wide code", "a calibration of the converter's linearity"),
    ("gain", "a calibration with a better meter"),
    ("fit", "a calibration with more points and a better meter"),
    ("reference", "a fresh calibration at this temperature"),
)


def remedy(budget: Sequence[BudgetLine]) -> str:
    """Return what makes the largest contribution smaller."""
    largest = max(budget, key=lambda b: b.contribution, default=None)
    if largest is None:
        return "more strokes or a better calibration"
    name = largest.name.lower()
    found = next((step for word, step in REMEDIES if word in name), "more strokes or a better calibration")
    return f"{found} (most of it is: {largest.name})"
