"""An engine that ran during a capture, from the capture's own readings: what the verdict says of it."""

from __future__ import annotations

from sweeprig.analysis.model import Cause, Code, Finding
from sweeprig.bench.readings.engine import EngineSeen, looks_at_a_vehicle
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.frontend import FrontEnd

_NEXT_UNCLEAR = (
    "Engine off; look where the battery lead is clipped on, say the system voltage (--system), sweep again."
)


def engine_findings(capture: Capture, setup: SweepSetup, front_end: FrontEnd) -> tuple[Finding, ...]:
    """Return a doubt where an engine ran, a note where the operator's override lets it; () where none did."""
    seen = EngineSeen(front_end, suspects=looks_at_a_vehicle(setup), system=setup.vehicle_system)
    seen.feed(capture.slow)
    if seen.running is None:
        return ()
    at_s = seen.running.index * capture.window_s
    began = "runs from the start" if seen.running.rested_v is None else f"was started at {at_s:.1f} s"
    reason = setup.override.strip()
    text = f"the engine {began}, by the battery lead: {seen.running.line}"
    if seen.running.unclear:
        text = f"the battery lead does not say whether the engine runs: {seen.running.line}"
    return (
        Finding(
            Code.ENGINE_RUNNING,
            Cause.ENGINE,
            None,
            None,
            f"{text}; allowed by the operator: {reason}" if reason else text,
            _NEXT_UNCLEAR
            if seen.running.unclear
            else "Switch the engine off and sweep again; vibration and charging disturb the signal.",
            "note" if reason else "doubt",
            {} if seen.running.battery_v == float("inf") else {"battery_v": seen.running.battery_v},
        ),
    )
