"""Whether the ends of each track read the same each time the lever is there."""

from __future__ import annotations

from dataclasses import replace

from sweeprig.analysis import reach
from sweeprig.analysis.ends import find_end
from sweeprig.analysis.model import Cause, End, Finding, TwoTracks
from sweeprig.analysis.moves import Moves
from sweeprig.analysis.slips import find_odd, find_slip
from sweeprig.capture.model import Trace
from sweeprig.words import Sense

OTHER = {Sense.RISING: Sense.FALLING, Sense.FALLING: Sense.RISING, Sense.UNKNOWN: Sense.UNKNOWN}
STEP_B = (
    "Sweep again, firmly to both stops. If track B still does not repeat and track A does, look at track B's own wires "
    "and pins; are they sound, replace the sensor."
)


def ends_of(trace: Trace, m: Moves) -> list[End | None]:
    """Return the low and the high end of one track."""
    supply_v = None if trace.supply is None else trace.supply.mean_v
    return [
        find_end(
            m.path,
            m.good,
            m.rests,
            place=p,
            lsb_v=trace.lsb_v,
            supply=supply_v,
            stop=stop,
            single=trace.undithered,
        )
        for p, stop in zip(("low", "high"), m.stops, strict=True)
    ]


def of_track(
    trace: Trace, m: Moves, ends: list[End | None], sense: Sense, limit_of_v: float
) -> list[Finding]:
    """Ends that differ from rest to rest; the limits are shares of `limit_of_v`, the supply."""
    step_v = trace.lsb_v if trace.undithered else 0.0
    slip = find_slip(m.rests, supply_v=limit_of_v, step_v=step_v, stops=m.stops)
    if slip is not None:
        return [reach.slipped(slip, trace, limit_of_v)]
    if m.path_steady_v is not m.path:
        ends = ends_of(trace, replace(m, path=m.path_steady_v))
    apart = reach.ends_apart(ends, limit_of_v, sense)
    odd = None if apart else find_odd(m.rests, supply_v=limit_of_v, step_v=step_v)
    return apart if odd is None else [reach.odd_visit(odd, sense)]


def of_second(
    trace: Trace, m: Moves, ends: list[End | None], sense: Sense, *, supply_v: float, two: TwoTracks
) -> list[Finding]:
    """The same of track B, which no lever and no mount moves alone.

    A steeper track shows more of an uneven hand, so its limits are as much wider.
    """
    own = sense if two.slope > 0 else OTHER[sense]
    found = of_track(trace, m, ends, own, supply_v * max(1.0, abs(two.slope)))
    return [
        replace(f, channel=1, cause=Cause.TRACK, evidence=f"track B: {_alone(f.evidence)}", next_step=STEP_B)
        for f in found
    ]


def _alone(text: str) -> str:
    """Return what was seen, without what lever and mount would have to do with it."""
    seen, agree, _ = text.partition(" agree: ")
    return seen.partition(": typical of a sensor that turns")[0] + agree.removesuffix(": ")
