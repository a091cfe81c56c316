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
    calibrated: bool = True,
) -> tuple[str, str]:
    """Return in words why a value is open and what would decide it, and what to do for that.

    `calibrated`: whether the rig that measured it ever was.
    """
    step = remedy(budget, calibrated=calibrated)
    if high - low < 2 * guard_factor * u95:
        apart = (
            f"its limits are {high - low:.3g} {unit} apart, too close together for a ± of {u95:.2g} {unit}"
        )
        return apart, f"{step} Or take wider limits."
    room = abs(value - nearest_limit(value, low=low, high=high))
    if room < HOPELESS * u95:
        return "it is on its limit: no measurement can decide", "Change the sensor, its mount or the limit."
    side = "inside" if low <= value <= high else "outside"
    return (
        f"it is {room:.2g} {unit} {side} its limit, but known to ±{u95:.2g} {unit} only; the ± must be below "
        f"{room / guard_factor:.2g} {unit}"
    ), step


OF_THE_RIG = ("meter", "linear", "wide code", "gain", "fit", "reference")  # what a calibration makes smaller
CALIBRATE = "Calibrate the rig (`sweeprig calibrate`), then sweep again."
MORE_STROKES = "Sweep again with more strokes, and hold the lever longer at this end."
BETTER_METER = "Calibrate the rig with a more accurate meter, then sweep again."
OWN_LINEARITY = "Measure the converter's linearity (`sweeprig calibrate ramp`), then sweep again."
REMEDIES = (
    ("supply not observed", "Measure the supply as well, and sweep again."),
    ("load", "Measure the track's resistance and enter it (`--track-ohm`)."),
    ("rest", MORE_STROKES),
    ("level", MORE_STROKES),
    ("meter", BETTER_METER),
    ("linear", OWN_LINEARITY),
    ("wide code", OWN_LINEARITY),
    ("gain", BETTER_METER),
    ("fit", "Calibrate the rig at more points and with a more accurate meter, then sweep again."),
    ("reference", "Calibrate the rig again at this temperature, then sweep again."),
)
ELSE = "Sweep again with more strokes, or calibrate the rig with a more accurate meter."


def remedy(budget: Sequence[BudgetLine], *, calibrated: bool) -> str:
    """Return what makes the largest contribution smaller; of a rig never calibrated, to calibrate it."""
    largest = max(budget, key=lambda b: b.contribution, default=None)
    if largest is None:
        return ELSE
    name = largest.name.lower()
    word, step = next(((w, s) for w, s in REMEDIES if w in name), ("", ELSE))
    return CALIBRATE if word in OF_THE_RIG and not calibrated else step
