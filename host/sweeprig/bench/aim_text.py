"""What is said while a sensor is turned, angles as they are typed, and the plan as text and JSON."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sweeprig.bench.aim import Ends, Plan, Window
from sweeprig.errors import InputError


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
            distance, True, f"INSIDE the window: hold, tighten, read again ({1000 * distance:+.0f} mV)"
        )
    turn = "UP: turn so that the reading rises" if distance > 0 else "DOWN: turn so that the reading falls"
    degrees = ""
    if volts_per_degree:
        degrees = f", {abs(distance / volts_per_degree):.1f} degrees"
    return Steer(distance, False, f"{turn} by {abs(distance):.3f} V{degrees}")


def per_degree(first: tuple[float, float], second: tuple[float, float]) -> float:
    """Return volts per degree from two (angle [deg], reading [V]). Raises InputError where they are too near."""
    angle, volts = second[0] - first[0], second[1] - first[1]
    if abs(angle) < 1.0 or abs(volts) < 0.01:
        raise InputError(
            "Two angles so near each other give no volts per degree.",
            seen=f"{angle:.2f} degrees, {volts:.4f} V apart",
            limit="at least 1 degree and 0.01 V apart",
            next_step="turn the sensor further between both readings",
        )
    return volts / angle


def parse_angle(text: str) -> tuple[float, float]:
    """Return (angle [deg], reading [V]) from "3.5=0.612". Raises InputError."""
    left, _, right = text.partition("=")
    try:
        return float(left), float(right)
    except ValueError:
        raise InputError(
            "This is no angle with its reading.",
            seen=text,
            limit="DEGREES=VOLTS, for example 3.5=0.612",
            next_step="give two of them: --angle 0=0.31 --angle 5=0.58",
        ) from None


def plan_lines(ends: Ends, p: Plan) -> list[str]:
    """Return the plan in plain lines, before anything is touched."""
    lines = [
        f"Now: closed {ends.closed_v:.3f} V, open {ends.open_v:.3f} V, supply {ends.supply_v:.3f} V,"
        f" {ends.sense}; each ± {ends.u95_v:.3f} V.",
        f"Closed end should stand between {p.window.low_v:.3f} and {p.window.high_v:.3f} V"
        f" (target {p.window.target_v:.3f} V).",
    ]
    if not p.possible:
        return [*lines, p.reason, *p.remarks]
    turn = f" ({p.degrees:+.2f} degrees)" if p.degrees is not None else ""
    lines.append(f"Move: {p.move_v:+.3f} V{turn}." if abs(p.move_v) > 5e-4 else "Move: none needed.")
    asked = (
        "" if p.open_range_v is None else f" (asked: {p.open_range_v[0]:.2f} to {p.open_range_v[1]:.2f} V)"
    )
    lines.append(f"After it: closed {p.predicted_closed_v:.3f} V, open {p.predicted_open_v:.3f} V{asked};")
    lines.append(
        f"  {p.predicted_lower_margin_v:.3f} V above ground (limit {p.lower_limit_v:.3f} V),"
        f" {p.predicted_upper_margin_v:.3f} V below the supply (limit {p.upper_limit_v:.3f} V)."
    )
    return [*lines, *p.remarks]


def plan_json(ends: Ends, p: Plan) -> dict[str, Any]:
    """Return the plan as a JSON object."""
    return {
        "possible": p.possible,
        "reason": p.reason,
        "sense": str(ends.sense),
        "closed_v": {"value": ends.closed_v, "u95": ends.u95_v},
        "open_v": {"value": ends.open_v, "u95": ends.u95_v},
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
