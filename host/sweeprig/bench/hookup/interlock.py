"""The interlock in a vehicle: what was measured, what follows from it, and why it refuses.

Battery volts tell a charging alternator from a battery at rest; they never prove that a vehicle cannot move.
Ripple counts only from a channel that looks at every conversion: a slow converter folds it down to anything.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from sweeprig.bench.hookup.cautions import SECURED, Ask, JobBook, confirm_all
from sweeprig.bench.readings.limits import limit
from sweeprig.errors import InputError, InterlockError, SafetyError


class Drive(StrEnum):
    """What moves the vehicle, as the operator says."""

    COMBUSTION = "combustion"
    STOP_START = "stop-start"
    HYBRID = "hybrid"
    ELECTRIC = "electric"


NEEDS_SECURING = (Drive.STOP_START, Drive.HYBRID, Drive.ELECTRIC)


class Engine(StrEnum):
    """What the measurements say of the engine."""

    RESTS = "rests"
    RUNS = "appears to run"
    NOT_MEASURED = "not measured"


@dataclass(frozen=True)
class Evidence:
    """What was measured just before. None where it was not."""

    battery_v: float | None = None  # [V] median of the slow readings; inf above the range of the divider
    n_readings: int = 0
    ripple_v: float | None = None  # [V] peak to peak, from a fast channel only
    most_v: float = math.inf  # [V] the most that the battery's divider can show


@dataclass(frozen=True)
class EngineState:
    """The engine's state with the lines that show why."""

    engine: Engine
    lines: tuple[str, ...]


def evidence_of(
    battery_uv: Sequence[int], *, good: Sequence[bool], ripple_v: float | None = None
) -> Evidence:
    """Return the evidence in slow readings of the battery [uV] with their status; bad readings do not count."""
    values = sorted(v for v, ok in zip(battery_uv, good, strict=True) if ok)
    if not values:
        return Evidence(ripple_v=ripple_v)
    middle = values[len(values) // 2]
    return Evidence(middle / 1e6, len(values), ripple_v)


def engine_state(evidence: Evidence) -> EngineState:
    """Return what the evidence says of the engine; never "rests" without battery volts."""
    battery, ripple = evidence.battery_v, evidence.ripple_v
    charging, rough = limit("vehicle.charging_v"), limit("vehicle.ripple_v")
    lines: list[str] = []
    runs = False
    if battery is None:
        lines.append("Engine state NOT measured: this hookup has no battery reading.")
    elif not battery >= limit("vehicle.least_battery_v"):
        lines.append(
            f"Engine state NOT measured: the battery lead shows {battery:z.2f} V; a battery in use shows more than"
            f" {limit('vehicle.least_battery_v'):z.0f} V. Look at the battery lead and the rig's ground."
        )
        battery = None
    else:
        runs = battery >= charging
        side = "at or above" if runs else "below"
        shown = f"{battery:z.2f} V"
        if math.isinf(battery):
            shown = f"above range, {evidence.most_v:z.1f} V or more"
        lines.append(f"Battery {shown} ({evidence.n_readings} readings): {side} {charging:z.1f} V.")
        if battery < limit("vehicle.low_v"):
            lines.append(
                f"The battery is low ({battery:z.2f} V): charge it. A sagging supply looks like a fault."
            )
    if ripple is not None:
        runs = runs or ripple >= rough
        lines.append(f"Ripple {ripple:z.3f} V peak to peak; limit for a running engine {rough:z.2f} V.")
    elif battery is not None:
        lines.append("Ripple not measured: the battery reading is a slow one.")
    if runs:
        return EngineState(Engine.RUNS, tuple(lines))
    if battery is None:
        return EngineState(Engine.NOT_MEASURED, tuple(lines))
    lines.append("No sign of a running engine. Battery volts never prove that the vehicle cannot move.")
    return EngineState(Engine.RESTS, tuple(lines))


def check_drive_known(drive: str) -> None:
    """Raise InputError where it was not said what drives the vehicle: the first question of all."""
    if drive not in tuple(Drive):
        raise InputError(
            "The vehicle's drive is not known.",
            seen=drive or "not given",
            limit=", ".join(Drive),
            next_step="add --drive combustion, stop-start, hybrid or electric; not in a vehicle: --setting bench",
        )


def check_drive(drive: str, *, confirmed: bool) -> str:
    """Return the line about what drives the vehicle, or raise where work on it is refused.

    InputError where it was not said; InterlockError for hybrid, electric and stop-start drives that are not
    confirmed to be secured.
    """
    check_drive_known(drive)
    if drive not in NEEDS_SECURING:
        return f"Drive: {drive}, stated by the operator."
    if confirmed:
        return f"Drive: {drive}; secured by its own procedure with a qualified person, confirmed by the operator."
    raise InterlockError(
        f"No work on a vehicle with {drive} drive unless it is secured.",
        seen="not confirmed; it can move or start by itself, and battery volts never prove that it cannot",
        limit="secured by its own procedure, with a qualified person for this drive present",
        next_step=f"secure it, then add --confirm {SECURED.key}",
    )


def check_engine(state: EngineState, *, override: str) -> str:
    """Return the line on what the interlock decided, or raise InterlockError with its evidence.

    `override` is the operator's reason; it holds for the sweep that it is given with and nothing is kept of it.
    """
    if state.engine is not Engine.RUNS:
        return f"Interlock: engine {state.engine}."
    if override.strip():
        return (
            f"Interlock: engine {state.engine}; OVERRIDDEN for this sweep by the operator: {override.strip()}"
        )
    raise InterlockError(
        "The engine appears to run: no sweep.",
        seen=" ".join(state.lines),
        limit="engine off; no sweep with the engine running",
        next_step='switch it off, or add --override "REASON" for this one sweep; it is written on the sheet',
    )


def pass_interlock(
    *,
    drive: str,
    evidence: Evidence,
    override: str,
    job: str,
    book: JobBook | None,
    ask: Ask,
    when: datetime,
    vehicle: bool = True,
) -> tuple[str, ...]:
    """Run the interlock; return its lines. Not in a `vehicle` nobody has to say what drives it.

    Raises InputError, InterlockError, SafetyError.
    """
    secured = drive in NEEDS_SECURING and _secured(job, book, ask, when)
    first = (check_drive(drive, confirmed=secured),) if vehicle or drive else ()
    state = engine_state(evidence)
    return (*first, *state.lines, check_engine(state, override=override))


def _secured(job: str, book: JobBook | None, ask: Ask, when: datetime) -> bool:
    try:
        return bool(confirm_all((SECURED,), job=job, book=book, ask=ask, when=when))
    except SafetyError:
        return False
