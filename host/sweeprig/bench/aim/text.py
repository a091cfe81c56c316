"""What is said while a sensor is turned, angles as they are typed, and the plan as text and JSON."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from sweeprig.analysis.model import Cause
from sweeprig.bench.aim.aim import TWO_ANGLES, Ends, Plan, Window
from sweeprig.bench.readings.limits import limit
from sweeprig.bench.readings.watch import WatchState
from sweeprig.errors import InputError
from sweeprig.judge.model import Quantity
from sweeprig.judge.outcome import Outcome


@dataclass(frozen=True)
class Steer:
    """What the live view says while the sensor is being turned."""

    distance_v: float  # to the target: positive is up
    inside: bool
    text: str


def steer(
    reading_v: float, window: Window, *, volts_per_degree: float | None = None, target_v: float | None = None
) -> Steer:
    """Return distance and direction from a reading at closed throttle."""
    aim = window.target_v if target_v is None else target_v
    distance = aim - reading_v
    inside = window.low_v <= reading_v <= window.high_v
    if inside:
        return Steer(
            distance, True, f"INSIDE the window: hold, tighten, read again ({1000 * distance:+z.0f} mV)"
        )
    turn = "UP: turn so that the reading rises" if distance > 0 else "DOWN: turn so that the reading falls"
    degrees = ""
    if volts_per_degree:
        degrees = f", {abs(distance / volts_per_degree):.1f} degrees"
    return Steer(distance, False, f"{turn} by {abs(distance):z.3f} V{degrees}")


LEVER_OPEN = "CLOSE THE LEVER: the reading is that of open throttle"


@dataclass
class AimGuide:
    """Adds target, distance and direction to a live view, and knows when the target is reached."""

    window: Window
    target_v: float
    volts_per_degree: float | None = None
    ends: Ends | None = None  # before turning
    inside: bool = False
    _since_s: float | None = None

    def adorn(self, state: WatchState) -> WatchState:
        """Return the state with what to do."""
        if state.reading_v is None:
            return state
        if self._opened(state.reading_v):
            self.inside, self._since_s = False, None
            return replace(state, message=LEVER_OPEN)
        now = steer(
            state.reading_v, self.window, volts_per_degree=self.volts_per_degree, target_v=self.target_v
        )
        self.inside = now.inside
        self._since_s = (
            (self._since_s if self._since_s is not None else state.seconds) if now.inside else None
        )
        marks = (self.window.low_v, self.target_v, self.window.high_v)
        return replace(state, target=marks, message=now.text)

    def _opened(self, reading_v: float) -> bool:
        """Return whether the lever stands nearer to open than to closed, before turning or after it."""
        if self.ends is None:
            return False
        travel_v = self.ends.open_v - self.ends.closed_v
        return all(
            (reading_v - closed_v) / travel_v > 0.5 for closed_v in (self.ends.closed_v, self.target_v)
        )

    def reached(self, state: WatchState) -> bool:
        """Return whether the reading has stood inside the window long enough."""
        return self._since_s is not None and state.seconds - self._since_s >= limit("aim.steady_s")


def ends_of(outcome: Outcome) -> Ends:
    """Return both ends of a sweep. Raises InputError where they were not found."""
    ends = [outcome.judgement.quantities.get(name) for name in ("closed_v", "open_v")]
    known = [q for q in ends if q is not None]
    both = [(q.value, q.u95 or 0.0) for q in known if q.value is not None]
    if len(both) < 2:
        raise _no_ends(known)
    supply = outcome.analysis.supply_v
    at = supply if math.isfinite(supply) else outcome.trace.nominal_supply_v
    (closed, closed_u95), (opened, opened_u95) = both
    return Ends(closed, opened, at, closed_u95, opened_u95)


def not_mended(outcome: Outcome) -> str:
    """Return the first fault of a sweep that turning does not mend, with what to do; "" where there is none."""
    beyond = (Cause.MOUNTING, Cause.RIG)
    faults = [f for f in outcome.judgement.findings if f.severity == "fault" and f.cause not in beyond]
    if not faults:
        return ""
    first = faults[0]
    name = first.code.value.replace("-", " ")
    return f"Turning does not repair this fault: {name}. {first.evidence}. {first.next_step}"


def _no_ends(known: Sequence[Quantity]) -> InputError:
    reasons = [q.reason for q in known if q.reason]
    return InputError(
        "Both ends must be known before the sensor is turned.",
        seen=reasons[0] if reasons else "the lever was never held still at a stop",
        limit="a sweep from closed throttle, the lever held still at both stops",
        next_step="sweep again from closed throttle, stop to stop, and hold at each stop",
    )


def simulated_turn(port: str, move_v: float, ends: Ends) -> tuple[str, str]:
    """Return the address of the simulated rig with its sensor turned by `move_v`, and the line that says so.

    A simulated sensor cannot be reached with a screwdriver: it is turned in its address.
    """
    from sweeprig.twin.sensors import load_sensor
    from sweeprig.twin.shaft import TRAVEL_DEG
    from sweeprig.twin.sim_url import parse

    spec = load_sensor(parse(port).sensor)
    per_degree_v = (spec.open_v - spec.closed_v) / TRAVEL_DEG * ends.supply_v / 5.0
    return turned_address(port, round(move_v / per_degree_v, 2))


def turned_address(port: str, degrees: float) -> tuple[str, str]:
    """Return the address of the simulated rig with its sensor turned by so much more, and the line that says so."""
    from sweeprig.twin.sim_url import parse

    base, _, query = port.partition("?")
    kept = [part for part in query.split("&") if part and not part.startswith("turn=")]
    address = f"{base}?{'&'.join([*kept, f'turn={parse(port).turn + degrees:.2f}'])}"
    return address, f"Simulated sensor: turned by {degrees:+.2f} degrees; from now on use {address}"


def per_degree(first: tuple[float, float], second: tuple[float, float]) -> float:
    """Return volts per degree from two (angle [deg], reading [V]). Raises InputError where they are too near."""
    angle, volts = second[0] - first[0], second[1] - first[1]
    if abs(angle) < 1.0 or abs(volts) < 0.01:
        raise InputError(
            "The two angles are too close for volts per degree.",
            seen=f"{angle:.2f} degrees, {volts:z.4f} V apart",
            limit="at least 1 degree and 0.01 V apart",
            next_step="turn the sensor further between both readings",
        )
    return volts / angle


def parse_angle(text: str) -> tuple[float, float]:
    """Return (angle [deg], reading [V]) from "3.5=0.612". Raises InputError."""
    left, _, right = text.partition("=")
    try:
        angle, volts = float(left), float(right)
    except ValueError:
        angle = volts = math.nan
    if not (math.isfinite(angle) and math.isfinite(volts)):
        raise InputError(
            "This is not an angle with its reading.",
            seen=text,
            limit="DEGREES=VOLTS, for example 3.5=0.612",
            next_step=f"add two of them: {TWO_ANGLES}",
        )
    return angle, volts


def plan_lines(ends: Ends, p: Plan) -> list[str]:
    """Return the plan in plain lines, before anything is touched; whether a position will do says `p.reason`."""
    lines = [
        f"Now: closed {ends.closed_v:z.3f} ± {ends.closed_u95_v:z.3f} V,"
        f" open {ends.open_v:z.3f} ± {ends.open_u95_v:z.3f} V, supply {ends.supply_v:z.3f} V, {ends.sense}.",
        f"Target for the closed end: between {p.window.low_v:.3f} and {p.window.high_v:z.3f} V"
        f" (target {p.window.target_v:z.3f} V).",
    ]
    if not p.possible:
        return [*lines, *p.remarks]
    turn = f" ({p.degrees:+.2f} degrees)" if p.degrees is not None else ""
    way = "Raise" if p.move_v > 0 else "Lower"
    move = f"{way} the closed reading by {abs(p.move_v):z.3f} V{turn}."
    if p.fits_now:
        lines.append("No turn is needed: both ends fit where they are.")
        move = f"To turn it to the middle of the target all the same: {move[:1].lower()}{move[1:]}"
    if abs(p.move_v) > 5e-4:
        lines.append(move)
    allowed = (
        "" if p.open_range_v is None else f" (allowed {p.open_range_v[0]:.2f} to {p.open_range_v[1]:z.2f} V)"
    )
    near = f"(allowed {p.window.low_v:.3f} to {p.window.high_v:z.3f} V)"
    lines += [
        f"After it: closed {p.predicted_closed_v:z.3f} V, fits {near};",
        f"  open {p.predicted_open_v:z.3f} V, fits{allowed};",
        f"  {p.predicted_lower_margin_v:z.3f} V above ground ({_limit(p, p.lower_limit_v)}),"
        f" {p.predicted_upper_margin_v:z.3f} V below the supply ({_limit(p, p.upper_limit_v)}).",
    ]
    return [*lines, *p.remarks]


def _limit(p: Plan, limit_v: float) -> str:
    """Return a limit at the measured supply, and beside it as the profile states it."""
    here, stated = f"{limit_v:z.3f}", f"{limit_v / p.scale:z.3f}"
    return f"limit {here} V" + (f" at this supply, {stated} V at {p.nominal_v:g} V" if here != stated else "")


def plan_json(ends: Ends, p: Plan) -> dict[str, Any]:
    """Return the plan as a JSON object."""
    return {
        "possible": p.possible,
        "reason": p.reason,
        "sense": str(ends.sense),
        "closed_v": {"value": ends.closed_v, "u95": ends.closed_u95_v},
        "open_v": {"value": ends.open_v, "u95": ends.open_u95_v},
        "supply_v": ends.supply_v,
        "window_v": [p.window.low_v, p.window.high_v],
        "target_v": p.window.target_v,
        "move_v": p.move_v,
        "move_deg": p.degrees,
        "predicted_closed_v": p.predicted_closed_v,
        "predicted_open_v": p.predicted_open_v,
        "predicted_lower_margin_v": p.predicted_lower_margin_v,
        "predicted_upper_margin_v": p.predicted_upper_margin_v,
        "lower_limit_v": p.lower_limit_v,
        "upper_limit_v": p.upper_limit_v,
        "remarks": list(p.remarks),
    }
