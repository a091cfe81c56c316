"""The interlock in a vehicle: what is measured, what follows from it, when it refuses.

Battery volts tell a charging alternator from a battery at rest; they never prove that a vehicle cannot move.
Ripple counts only from a channel that takes every conversion: a slow converter aliases it to any other frequency.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from sweeprig.bench.hookup.cautions import SECURED, SYSTEM_24, Ask, JobBook, confirm_all
from sweeprig.bench.readings.battery import Level, charging_v, level_of, unclear_words
from sweeprig.bench.readings.limits import limit
from sweeprig.errors import InputError, InterlockError, SafetyError
from sweeprig.words import Drive as Drive
from sweeprig.words import above_range

NEEDS_SECURING = (Drive.STOP_START, Drive.HYBRID, Drive.ELECTRIC)


class Engine(StrEnum):
    """State of the engine as measured."""

    RESTS = "rests"
    RUNS = "appears to run"
    UNCLEAR = "not clear from the battery"
    NOT_MEASURED = "not measured"


_ENGINE = {
    Level.RESTS: Engine.RESTS,
    Level.RUNS: Engine.RUNS,
    Level.UNCLEAR: Engine.UNCLEAR,
    Level.NONE: Engine.NOT_MEASURED,
}


@dataclass(frozen=True)
class Evidence:
    """What was just measured; None: not measured."""

    battery_v: float | None = None  # [V] median of the slow readings; inf above the range of the divider
    n_readings: int = 0
    ripple_v: float | None = None  # [V] peak to peak, from a fast channel only
    most_v: float = math.inf  # [V] the most that the battery's divider can show


@dataclass(frozen=True)
class EngineState:
    """The engine's state with the lines that show why."""

    engine: Engine
    lines: tuple[str, ...]


def engine_state(evidence: Evidence, system: str = "") -> EngineState:
    """Return what the evidence says of the engine of a vehicle with a `system` voltage of 12, 24 or "" not said.

    Never "rests" without battery volts, nor where the same volts mean one thing at 12 V and another at 24 V.
    """
    level, lines = _battery(evidence, system)
    ripple, rough = evidence.ripple_v, limit("vehicle.ripple_v")
    if ripple is not None:
        level = Level.RUNS if ripple >= rough else level
        lines.append(f"Ripple {ripple:z.3f} V peak to peak; limit for a running engine {rough:z.2f} V.")
    elif level is not Level.NONE:
        lines.append("Ripple not measured: the battery reading is a slow one.")
    if level is Level.RESTS:
        lines.append("No sign of a running engine. Battery volts never prove that the vehicle cannot move.")
    return EngineState(_ENGINE[level], tuple(lines))


def _battery(evidence: Evidence, system: str) -> tuple[Level, list[str]]:
    """Return the state that the battery's volts show, with lines of evidence."""
    battery = evidence.battery_v
    if battery is None:
        return Level.NONE, ["Engine state NOT measured: this hookup has no battery reading."]
    level = level_of(battery, system)
    said = [f"{system} V system, stated by the operator."] if system else []
    if level is Level.NONE:
        least = limit("vehicle_24.least_v" if system == "24" else "vehicle.least_battery_v")
        more = (
            "; a battery in use shows more than"
            if system != "24"
            else "; a 24 V battery in use shows more than"
        )
        text = f"Engine state NOT measured: the battery lead shows {battery:z.2f} V{more} {least:z.0f} V."
        return level, [*said, f"{text} Look at the battery lead and the rig's ground."]
    shown = above_range(evidence.most_v) if math.isinf(battery) else f"{battery:z.2f} V"
    limit_v = charging_v(system)
    side = f"{'at or above' if battery >= limit_v else 'below'} {limit_v:z.1f} V"
    meant = unclear_words(battery, system) if level is Level.UNCLEAR else side
    lines = [*said, f"Battery {shown} ({evidence.n_readings} readings): {meant}."]
    if level is Level.RESTS and battery < limit(f"vehicle_{system or '12'}.low_v"):
        lines.append(
            f"The battery is low ({battery:z.2f} V): charge it. A sagging supply looks like a fault."
        )
    return level, lines


def settled_system(evidence: Evidence, system: str, ask: Ask) -> str:
    """Return the system voltage as given; else 24 where the reading is clear only so and the operator confirms it."""
    if system or evidence.battery_v is None or level_of(evidence.battery_v) is not Level.UNCLEAR:
        return system
    clear = level_of(evidence.battery_v, "24") is not Level.UNCLEAR
    return "24" if clear and ask.confirm(SYSTEM_24) else ""


def check_drive_known(drive: str, *, bench: bool = True) -> None:
    """Raise InputError where --drive is missing: it decides whether work is allowed at all.

    `bench`: whether the command works without a vehicle too.
    """
    if drive not in tuple(Drive):
        raise InputError(
            "What drives the vehicle is not known.",
            seen=drive or "not given",
            limit=", ".join(Drive),
            next_step="add --drive combustion, stop-start, hybrid or electric"
            + ("; with no vehicle: --setting bench" if bench else ""),
        )


def check_drive(drive: str, *, confirmed: bool, bench: bool = True) -> str:
    """Return the line about what drives the vehicle, or raise where work on it is refused.

    Raises InputError where it was not given, InterlockError for a hybrid, electric or stop-start drive that nobody has
    confirmed to be secured.
    """
    check_drive_known(drive, bench=bench)
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

    `override` is the operator's reason; it counts for this one sweep and is not stored for the next.
    """
    if state.engine not in (Engine.RUNS, Engine.UNCLEAR):
        return f"Interlock: engine {state.engine}."
    if override.strip():
        return (
            f"Interlock: engine {state.engine}; OVERRIDDEN for this sweep by the operator: {override.strip()}"
        )
    if state.engine is Engine.UNCLEAR:
        raise InterlockError(
            "The battery reading does not say whether the engine runs: no sweep.",
            seen=" ".join(state.lines),
            limit="a battery at rest in the vehicle's own system, 12 or 24 V",
            next_step="look where the battery lead is clipped on, then give the system voltage: --system 24 or 12",
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
    system: str = "",
) -> tuple[str, ...]:
    """Run the interlock; return its lines. With `vehicle` False the drive need not be given.

    `system`: its voltage, 12 or 24; "" was not said.

    Raises InputError, InterlockError, SafetyError.
    """
    secured = drive in NEEDS_SECURING and _secured(job, book, ask, when)
    first = (check_drive(drive, confirmed=secured),) if vehicle or drive else ()
    state = engine_state(evidence, system)
    return (*first, *state.lines, check_engine(state, override=override))


def _secured(job: str, book: JobBook | None, ask: Ask, when: datetime) -> bool:
    try:
        return bool(confirm_all((SECURED,), job=job, book=book, ask=ask, when=when))
    except SafetyError:
        return False
