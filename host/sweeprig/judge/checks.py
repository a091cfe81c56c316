"""Limits other than the margins to the rails: ranges of the ends, span, supply, tracks, linearity, strokes."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sweeprig.analysis.model import Analysis, TwoTracks
from sweeprig.capture.model import Trace
from sweeprig.judge.decide import decide, would_decide
from sweeprig.judge.measured import sense_of
from sweeprig.judge.model import Check, Quantity, Verdict
from sweeprig.judge.profile_model import Limit, Profile, Range
from sweeprig.judge.scale import Scale
from sweeprig.words import Sense


@dataclass(frozen=True)
class Seen:
    """What the checks look at."""

    analysis: Analysis
    trace: Trace
    profile: Profile
    scale: Scale
    quantities: dict[str, Quantity]
    guard_factor: float


def all_checks(seen: Seen) -> tuple[Check, ...]:
    """Return every check that the profile asks for and the capture allows."""
    return (*_end_checks(seen), _span(seen), *_supply(seen), *_tracks(seen), *_angle(seen), _strokes(seen))


def passes(analysis: Analysis) -> int:
    """Return the number of full strokes."""
    return sum(s.full for s in analysis.strokes)


def _judged(
    name: str, q: Quantity, source: str, *, g: float, low: float | None = None, high: float | None = None
) -> Check:
    bounds = {"low": -math.inf if low is None else low, "high": math.inf if high is None else high}
    if q.value is None or q.u95 is None:
        return Check(name, None, None, q.unit, low, high, Verdict.UNDECIDED, source, q.reason)
    verdict = decide(q.value, u95=q.u95, guard_factor=g, **bounds)
    more = ""
    if verdict is Verdict.UNDECIDED:
        more = would_decide(q.value, u95=q.u95, guard_factor=g, budget=q.budget, unit=q.unit, **bounds)
    return Check(name, q.value, q.u95, q.unit, low, high, verdict, source, more)


def _end_checks(seen: Seen) -> list[Check]:
    limits, out = seen.profile.limits, []
    for name, key, channel, wanted in (
        ("closed", "closed_v", 0, limits.closed),
        ("open", "open_v", 0, limits.open),
        ("closed_b", "closed_b_v", 1, limits.closed_b),
        ("open_b", "open_b_v", 1, limits.open_b),
    ):
        if wanted is None or key not in seen.quantities:
            continue
        fits = _for_sense(wanted, seen, channel)
        q = seen.scale.at_nominal(seen.quantities[key])
        out.append(_judged(name, q, fits.source, g=seen.guard_factor, low=fits.low, high=fits.high))
    return out


def _for_sense(wanted: Range, seen: Seen, channel: int) -> Range:
    """Mirror the range about half the supply where a profile for either sense meets a falling signal.

    A potentiometer with supply and ground swapped reads S - V for V.
    """
    mirrored = seen.profile.sensor.sense == "either" and channel == 0
    if mirrored and sense_of(seen.analysis, channel) is Sense.FALLING:
        return wanted.mirrored(seen.scale.nominal_v)
    return wanted


def _span(seen: Seen) -> Check:
    least = seen.profile.limits.span
    q = seen.quantities["span_v"]
    if q.value is not None and seen.scale.ratiometric and seen.scale.supply.value is not None:
        from sweeprig.judge.budget import quantity, scaled

        factor = seen.scale.nominal_v / (seen.scale.supply.value - seen.scale.ground_v)
        q = quantity(q.name, q.unit, q.value * factor, scaled(q.budget, factor), n_samples=q.n_samples)
    return _judged("span", q, least.source, g=seen.guard_factor, low=least.value)


def _supply(seen: Seen) -> list[Check]:
    if seen.scale.supply.value is None:
        return []
    wanted = seen.scale.supply_range
    return [
        _judged(
            "supply",
            seen.scale.supply,
            wanted.source,
            g=seen.guard_factor,
            low=wanted.low,
            high=wanted.high,
        )
    ]


def _plain(
    name: str,
    value: float | None,
    unit: str,
    limit: Limit | Range,
    *,
    why: str = "",
    least: bool = False,
) -> Check:
    """A quantity whose uncertainty is not budgeted: decided as it stands."""
    low, high = _bounds(limit, least)
    if value is None or not math.isfinite(value):
        return Check(name, None, None, unit, low, high, Verdict.UNDECIDED, limit.source, why)
    inside = (low is None or value >= low) and (high is None or value <= high)
    return Check(name, value, None, unit, low, high, Verdict.PASS if inside else Verdict.FAIL, limit.source)


def _bounds(limit: Limit | Range, least: bool) -> tuple[float | None, float | None]:
    if isinstance(limit, Range):
        return limit.low, limit.high
    return (limit.value, None) if least else (None, limit.value)


def _tracks(seen: Seen) -> list[Check]:
    limits, sensor = seen.profile.limits, seen.profile.sensor
    if sensor.tracks < 2:
        return []
    two, why = seen.analysis.two_tracks, no_correlation(seen)
    usable = two if not why else None
    out = []
    if limits.slope_b is not None:
        value = None if usable is None else usable.slope
        out.append(_plain("slope_b", value, "V/V", limits.slope_b, why=why))
    if limits.sum_b is not None:
        out.append(_plain("sum_b", _sum_v(usable, seen), "V", limits.sum_b, why=why))
    if limits.correlation is not None:
        value = None if usable is None else usable.max_error_percent
        out.append(_plain("correlation", value, "% of supply", limits.correlation, why=why))
    return out


def no_correlation(seen: Seen) -> str:
    """Return why the two tracks cannot be compared; empty where they can."""
    if seen.trace.signal_b is None:
        return "track B was not captured"
    if seen.profile.sensor.supplies > 1:
        return "each track has its own supply and only one is observed: capture one track at a time"
    if seen.scale.supply.value is None:
        return "the supply was not observed: no verdict on how the tracks agree"
    return "" if seen.analysis.two_tracks is not None else "track A hardly moved"


def _sum_v(two: TwoTracks | None, seen: Seen) -> float | None:
    """A + B at the middle of A's travel, at nominal supply [V]."""
    low, high = seen.analysis.low, seen.analysis.high
    supply = seen.scale.supply.value
    if two is None or low is None or high is None or supply is None:
        return None
    middle = (low.value_v + high.value_v) / 2
    total = two.offset_v + (1 + two.slope) * middle
    return total / supply * seen.scale.nominal_v if seen.scale.ratiometric else total


def _angle(seen: Seen) -> list[Check]:
    found, limits = seen.analysis.linearity, seen.profile.limits
    if found is None:
        return []
    out = []
    if limits.linearity is not None:
        out.append(_plain("linearity", found.independent_percent, "% of supply", limits.linearity))
    if limits.hysteresis is not None:
        out.append(_plain("hysteresis", found.hysteresis_percent, "% of supply", limits.hysteresis))
    return out


def _strokes(seen: Seen) -> Check:
    """Too few strokes leave a pass undecided; they are never a fault."""
    need = seen.profile.limits.strokes
    n = float(passes(seen.analysis))
    if n >= need.value:
        return Check("strokes", n, None, "strokes", need.value, None, Verdict.PASS, need.source)
    more = f"{need.value - n:.0f} more full strokes from stop to stop"
    return Check("strokes", n, None, "strokes", need.value, None, Verdict.UNDECIDED, need.source, more)
