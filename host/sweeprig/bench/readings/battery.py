"""What one reading of a vehicle's battery says of its engine, with its system voltage or without. Pure."""

from __future__ import annotations

from enum import StrEnum

from sweeprig.bench.readings.limits import limit


class Level(StrEnum):
    """What a reading says."""

    RESTS = "rests"
    RUNS = "runs"
    UNCLEAR = "unclear"  # it fits no battery of that system, or means another thing in each
    NONE = "none"  # no battery in use


def level_of(battery_v: float, system: str = "") -> Level:
    """Return what a reading [V] says; inf is above range. `system` "" was not said: only what holds in both counts."""
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
    """Return from which volts on the engine is taken to run; the lower ones where the system was not said."""
    return limit("vehicle_24.charging_v" if system == "24" else "vehicle_12.charging_v")
