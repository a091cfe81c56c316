"""Limits other than the margins to the rails: ranges of the ends, span, supply, tracks, linearity, strokes."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from sweeprig.analysis.late_angle import words
from sweeprig.analysis.model import Analysis, Code, End
from sweeprig.capture.model import Trace
from sweeprig.judge import tracks as tr
from sweeprig.judge.budget import missing
from sweeprig.judge.decide import decide, would_decide
from sweeprig.judge.model import Check, Quantity, Verdict
from sweeprig.judge.named_ends import ends_of, levels
from sweeprig.judge.profile_model import Profile, Range
from sweeprig.judge.rig import Rig
from sweeprig.judge.scale import Scale
from sweeprig.judge.track_b import NOT_CAPTURED, ONE_SIGNAL, is_missing
from sweeprig.words import Sense


@dataclass(frozen=True)
class CheckContext:
    """All that the checks of one capture look at."""

    analysis: Analysis
    trace: Trace
    profile: Profile
    scale: Scale
    quantities: dict[str, Quantity]
    guard_factor: float
    rig: Rig | None = None


def all_checks(seen: CheckContext) -> tuple[Check, ...]:
    """Return every check that the profile asks for and the capture allows."""
    return (
        *end_checks(seen),
        _span(seen),
        *supply_checks(seen),
        *_tracks(seen),
        *_angle(seen),
        _strokes(seen),
    )


def n_full_strokes(analysis: Analysis) -> int:
    """Return the number of full strokes."""
    return sum(s.full for s in analysis.strokes)


def _judged(
    name: str,
    q: Quantity,
    source: str,
    *,
    seen: CheckContext,
    low: float | None = None,
    high: float | None = None,
) -> Check:
    bounds = {"low": -math.inf if low is None else low, "high": math.inf if high is None else high}
    if q.value is None or q.u95 is None:
        return Check(name, None, None, q.unit, low, high, Verdict.UNDECIDED, source, q.reason)
    g, calibrated = seen.guard_factor, seen.scale.calibrated
    verdict = decide(q.value, u95=q.u95, guard_factor=g, **bounds)
    why, step = "", ""
    if verdict is Verdict.UNDECIDED:
        why, step = would_decide(
            q.value, u95=q.u95, guard_factor=g, budget=q.budget, unit=q.unit, calibrated=calibrated, **bounds
        )
    return Check(name, q.value, q.u95 or None, q.unit, low, high, verdict, source, why, step)


def end_checks(seen: CheckContext) -> list[Check]:
    """Return the checks of closed and open against their ranges."""
    limits, out = seen.profile.limits, []
    for name, key, wanted in (
        ("closed", "closed_v", limits.closed),
        ("open", "open_v", limits.open),
        ("closed_b", "closed_b_v", limits.closed_b),
        ("open_b", "open_b_v", limits.open_b),
    ):
        if wanted is None or key not in seen.quantities:
            continue
        fits = _for_sense(wanted, seen)
        q = seen.scale.at_nominal(seen.quantities[key])
        check = _judged(name, q, fits.source, seen=seen, low=fits.low, high=fits.high)
        end = (levels(seen.analysis, 0) | levels(seen.analysis, 1)).get(key)
        check = check if end is None else _at_a_stop(check, end, channel=int(key.endswith("_b_v")), seen=seen)
        out.append(_of_one_signal(check) if is_missing(seen.profile, seen.trace) else check)
    return out


def _of_one_signal(check: Check) -> Check:
    """Leave open what the ranges of two tracks say of one: they may be another sensor's."""
    if check.verdict is not Verdict.FAIL:
        return check
    return replace(check, verdict=Verdict.UNDECIDED, would_decide=ONE_SIGNAL)


NEARLY_ALL = 0.65  # share of the visits that agree at a stop; own choice, no source
FEW = 3  # visits
AT_A_STOP = 0.002  # of the way: spread of a few visits of a hard stop. Own choice, no source
AGAIN = "Sweep again from stop to stop."
TO_THE_STOPS = "Move the lever from stop to stop."


def _at_a_stop(check: Check, end: End, *, channel: int, seen: CheckContext) -> Check:
    """Leave open what an end further out would change, where it is not known that the lever met its stop."""
    if check.value is None or check.low is None or check.high is None:
        return check
    low, way_v = end is ends_of(seen.analysis, channel)[0], _way_v(seen.analysis, channel)
    fails = check.verdict is Verdict.FAIL
    beyond = check.value < check.low if low else check.value > check.high
    if (fails and beyond) or (_sure(end, way_v) if fails else _met(end, most=False)):
        return check
    return replace(check, verdict=Verdict.UNDECIDED, would_decide=_no_stop(end), next_step=TO_THE_STOPS)


def _met(end: End, *, most: bool) -> bool:
    """Whether visits agree on one level as at a stop: two at least, or most of all that turned round there."""
    return end.n_agreeing > 1 and (not most or 2 * end.n_agreeing > end.n_rests + end.n_turned_short)


def _sure(end: End, way_v: float) -> bool:
    """Whether it was a stop for certain: nearly all visits agree, and a few of them more closely than half strokes."""
    all_of = end.n_agreeing >= NEARLY_ALL * (end.n_rests + end.n_turned_short)
    held_once = end.n_rests < 2 and end.n_turned_short > 0
    close = not held_once and (end.n_agreeing > FEW or not end.spread_v > AT_A_STOP * way_v)
    return _met(end, most=True) and all_of and close


def _way_v(found: Analysis, channel: int) -> float:
    """Distance of the ends of one track [V]; infinite where one is missing."""
    low, high = ends_of(found, channel)
    return math.inf if low is None or high is None else abs(high.value_v - low.value_v)


def _no_stop(end: End) -> str:
    seen = (
        f"{end.n_agreeing} of {end.n_rests + end.n_turned_short} visits"
        if end.n_agreeing > 1
        else "no two visits"
    )
    return f"{seen} met the same level, so the lever may not have reached its stop"


def _for_sense(wanted: Range, seen: CheckContext) -> Range:
    """Mirror the range about half the supply where a profile for either sense meets a falling track A.

    A potentiometer with supply and ground swapped reads S - V for V.
    """
    if seen.profile.sensor.sense == "either" and seen.analysis.sense is Sense.FALLING:
        return wanted.mirrored(seen.scale.nominal_v)
    return wanted


def _span(seen: CheckContext) -> Check:
    least = seen.profile.limits.span
    at = seen.quantities
    q = seen.scale.span_at_nominal(at["span_v"], low=at["low_v"], high=at["high_v"])
    check = _judged("span", q, least.source, seen=seen, low=least.value)
    way_v = _way_v(seen.analysis, 0)
    loose = [e for e in ends_of(seen.analysis, 0) if e is not None and not _sure(e, way_v)]
    if check.verdict is Verdict.FAIL and loose:
        why = _no_stop(loose[0])
        return replace(check, verdict=Verdict.UNDECIDED, would_decide=why, next_step=TO_THE_STOPS)
    return check


def supply_checks(seen: CheckContext) -> tuple[Check, ...]:
    """Return the check of the supply; empty where it was not observed."""
    if seen.scale.supply.value is None:
        return ()
    wanted = seen.scale.supply_range
    return (_judged("supply", seen.scale.supply, wanted.source, seen=seen, low=wanted.low, high=wanted.high),)


def _tracks(seen: CheckContext) -> list[Check]:
    limits, sensor = seen.profile.limits, seen.profile.sensor
    if sensor.tracks < 2:
        return []
    two, why = seen.analysis.two_tracks, no_correlation(seen)
    usable = two if not why else None
    out = []
    for name, wanted, q in (
        ("slope_b", limits.slope_b, tr.slope(usable, seen.rig, seen.quantities, why)),
        ("sum_b", limits.sum_b, tr.total(usable, seen.quantities, seen.scale, why)),
    ):
        if wanted is not None:
            out.append(_judged(name, q, wanted.source, seen=seen, low=wanted.low, high=wanted.high))
    if limits.correlation is not None:
        q = tr.departure(usable, seen.rig, seen.scale, why)
        most = limits.correlation
        out.append(_judged("correlation", q, most.source, seen=seen, high=most.value))
    return out


def no_correlation(seen: CheckContext) -> str:
    """Return why the two tracks cannot be compared; empty where they can."""
    if is_missing(seen.profile, seen.trace):
        return NOT_CAPTURED
    if seen.profile.sensor.supplies > 1:
        return "each track has its own supply and only one is observed: capture one track at a time"
    if seen.scale.supply.value is None:
        return "the supply was not measured: no verdict on how the tracks agree"
    return "" if seen.analysis.two_tracks is not None else "track A hardly moved"


def _angle(seen: CheckContext) -> list[Check]:
    """Linearity and hysteresis; without an angle there is nothing to judge and nothing is said."""
    found, limits = seen.analysis.linearity, seen.profile.limits
    if found is None:
        return []
    out = []
    unrest_v = _unrest_v(seen.analysis)
    for name, limit, value, chance in (
        ("linearity", limits.linearity, found.independent_percent, 0.0),
        ("hysteresis", limits.hysteresis, found.hysteresis_percent, found.chance_percent),
    ):
        if limit is not None and found.late_s:
            none = missing(name, "% of supply", words(found.late_s))
            out.append(_judged(name, none, limit.source, seen=seen, high=limit.value))
        elif limit is not None:
            q = tr.with_converter(name, value, seen.rig, seen.scale, unrest_v=unrest_v, chance=chance)
            out.append(_judged(name, q, limit.source, seen=seen, high=limit.value))
    return out


def _unrest_v(found: Analysis) -> float:
    """Peak to peak of track A where the lever hardly moves [V]; 0 where it is no more than usual."""
    unrest = [
        f.numbers.get("noise_v", 0.0)
        for f in found.findings
        if f.code is Code.INTERFERENCE and f.channel == 0
    ]
    return max(unrest, default=0.0)


def _strokes(seen: CheckContext) -> Check:
    """Too few strokes leave a pass undecided; they are never a fault."""
    need = seen.profile.limits.strokes
    n = float(n_full_strokes(seen.analysis))
    if n >= need.value:
        return Check("strokes", n, None, "strokes", need.value, None, Verdict.PASS, need.source)
    seen_n = "1 full stroke was" if n == 1 else f"{n:.0f} full strokes were"
    why = f"only {seen_n} seen, {need.value:.0f} are needed"
    return Check("strokes", n, None, "strokes", need.value, None, Verdict.UNDECIDED, need.source, why, AGAIN)
