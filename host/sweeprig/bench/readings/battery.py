"""What one battery reading says about the engine, with a known system voltage (12 or 24 V) or without. Pure."""

from __future__ import annotations

from enum import StrEnum

from sweeprig.bench.readings.limits import limit


class Level(StrEnum):
    """Meaning of a reading."""

    RESTS = "rests"
    RUNS = "runs"
    UNCLEAR = "unclear"  # it fits no battery of that system, or means another thing in each
    NONE = "none"  # no battery in use


def level_of(battery_v: float, system: str = "") -> Level:
    """Return the meaning of a reading [V]; inf: above range. `system` "": only what is true at both 12 and 24 V."""
    if not battery_v >= limit("vehicle.least_battery_v"):
        return Level.NONE
    if battery_v >= limit("vehicle_24.charging_v"):
        return Level.RUNS
    if battery_v < limit("vehicle_12.charging_v"):
        return Level.NONE if system == "24" else Level.RESTS
    if system == "24":
        return Level.RESTS if battery_v >= limit("vehicle_24.least_v") else Level.UNCLEAR
    return Level.RUNS if battery_v <= limit("vehicle_12.most_v") else Level.UNCLEAR


def unclear_words(battery_v: float, system: str) -> str:
    """Return why a reading [V] is unclear."""
    if system == "12":
        return f"too high for a 12 V system, which charges at {limit('vehicle_12.most_v'):z.0f} V at most"
    if system == "24":
        least = limit("vehicle_24.least_v")
        return f"too low for a 24 V system, {least:z.0f} V at least: one battery of two that charges, or a 12 V system"
    if battery_v < limit("vehicle_24.least_v"):
        return "too high for a 12 V system, too low for a 24 V system"
    return "at rest in a 24 V system, too high for a 12 V system; the system voltage is not known"


def charging_v(system: str) -> float:
    """Return the volts above which the engine counts as running; the lower ones where the system is not known."""
    return limit("vehicle_24.charging_v" if system == "24" else "vehicle_12.charging_v")
