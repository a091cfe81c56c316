"""The words that operator, board and analysis share. Imports nothing heavy, so that commands start fast."""

from __future__ import annotations

from enum import StrEnum

ANY_SENSOR = "any-three-wire"  # the profile where none is named
SIMULATED = "SIMULATED: no real sensor was measured."
TASKS = ("sweep", "wiggle", "wiggle-far-end")  # what a capture is made for
TRACK_OHM = (1.0, 1e6)  # [ohm] least and most of a track from end to end that is taken as measured
MOST_STROKES = 50  # that one sweep is asked for
KEPT = "Kept on the board"  # begins the line that says so in a capture
# cautions of terminal, card and sheet; common practice of the trade, no source
LAW_FIRST = "Local regulations, the vehicle's own service procedure and licensed practice come first."
MAY_MOVE = "An unexpected throttle signal can move a vehicle: engine off, park brake on, wheels chocked, out of gear."
NO_HANDS = (
    "A motor-driven throttle plate closes on fingers without warning: never push it by hand, move the pedal."
)
CODES_FIRST = "Write down the stored fault codes before anything is unplugged."
PLUGS = "Ignition off, then wait until the controllers have shut down, before any plug or tap is moved."
AFTERWARDS = (
    "An unplugged sensor stores fault codes and can limit engine power. Afterwards relearn the end positions (service"
    " procedure) and recheck before driving."
)


def above_range(most_v: float) -> str:
    """Return what is shown of a reading at the end of what can be read [V]: it may be any more."""
    return f"above range, {most_v:z.1f} V or more"


class Sense(StrEnum):
    """Which way the signal runs as the throttle opens."""

    RISING = "rising"
    FALLING = "falling"
    UNKNOWN = "unknown"


class Hookup(StrEnum):
    """Who powers the sensor: the rig, or the controller of a harness that is only tapped."""

    POWERED = "powered"
    TAPPED = "tapped"


class Starts(StrEnum):
    """Where the lever is when a sweep begins, as the operator says."""

    CLOSED = "closed"
    OPEN = "open"
    ANYWHERE = "anywhere"


class Setting(StrEnum):
    """Where the work is done."""

    BENCH = "bench"
    VEHICLE = "vehicle"


class TimeUnit(StrEnum):
    """The unit of the time in a CSV."""

    S = "s"
    MS = "ms"
    US = "us"


class System(StrEnum):
    """The voltage of a vehicle's own supply."""

    V12 = "12"
    V24 = "24"


class Drive(StrEnum):
    """What moves the vehicle, as the operator says."""

    COMBUSTION = "combustion"
    STOP_START = "stop-start"
    HYBRID = "hybrid"
    ELECTRIC = "electric"


class Kind(StrEnum):
    """What the sensor is, as its maker says; a filtered PWM output cannot be told from an analogue one."""

    POTENTIOMETER = "potentiometer"
    HALL = "hall"
    UNKNOWN = "unknown"


def percent(value: float) -> str:
    """Return a share in per cent with two digits, never as a power of ten."""
    return f"{value:.2g}" if value < 99.5 else f"{value:.0f}"
