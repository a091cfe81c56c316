"""Mistakes of a profile that only several of its entries together show."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from sweeprig.judge.profile_lines import Problem, line_of

SUPPLY_SHARES = (
    0.4,
    1.5,
)  # of nominal: a supply outside is none, whatever a profile says; own choice, no source
TRACK_B = ("closed_b", "open_b", "slope_b", "sum_b", "correlation")


def check_together(data: Mapping[str, Any], lines: dict[str, int]) -> list[Problem]:
    """Return the mistakes of a profile whose entries are each right by itself."""
    checks = (_rails, _supplies, _ends, _tracks, _aim, _series)
    found = [(key, *rest) for check in checks for key, *rest in check(data)]
    return [Problem(line_of(lines, key), key.removesuffix(".value"), *rest) for key, *rest in found]


Found = Iterator[tuple[str, ...]]  # key, what is wrong, what was seen, what is expected


def _nominal(data: Mapping[str, Any]) -> float:
    return float(data["supply"]["nominal_v"])


def _value(data: Mapping[str, Any], table: str, key: str) -> float:
    return float(data[table][key]["value"])


def _between_rails(data: Mapping[str, Any]) -> tuple[float, float]:
    """Return between which volts an end keeps both margins."""
    return _value(data, "limits", "lower_rail"), _nominal(data) - _value(data, "limits", "upper_rail")


def _rails(data: Mapping[str, Any]) -> Found:
    low, high = _between_rails(data)
    span, at_rail = _value(data, "limits", "span"), _value(data, "limits", "at_rail")
    if span > high - low:
        yield (
            "limits.span.value",
            "leaves no room between the rail margins",
            f"{span:g} V",
            f"at most {high - low:g} V",
        )
    least = min(low, _value(data, "limits", "upper_rail"))
    if at_rail > least > 0:
        yield "limits.at_rail.value", "is above a rail margin", f"{at_rail:g} V", f"at most {least:g} V"


def _supplies(data: Mapping[str, Any]) -> Found:
    nominal, wanted = _nominal(data), data["limits"]["supply"]
    if not wanted["low"] <= nominal <= wanted["high"]:
        seen = f"{wanted['low']:g} to {wanted['high']:g} V"
        yield "limits.supply", "does not hold the nominal supply", seen, f"{nominal:g} V in it"
    least, most = (share * nominal for share in SUPPLY_SHARES)
    for key in ("supply", "supply_powered"):
        own = data["limits"][key]
        if own["low"] < least or own["high"] > most:
            seen, limit = f"{own['low']:g} to {own['high']:g} V", f"within {least:g} to {most:g} V"
            yield f"limits.{key}", "is too wide for the nominal supply", seen, limit


def _ends(data: Mapping[str, Any]) -> Found:
    low, high = _between_rails(data)
    for key in ("closed", "open", "closed_b", "open_b"):
        own = data["limits"].get(key)
        if own is not None and (own["high"] < low or own["low"] > high):
            seen = f"{own['low']:g} to {own['high']:g} V"
            yield f"limits.{key}", "lies beyond a rail margin", seen, f"part of {low:g} to {high:g} V"
        elif own is not None and own["high"] > _nominal(data):
            yield (
                f"limits.{key}",
                "is above the nominal supply",
                f"{own['high']:g} V",
                f"at most {_nominal(data):g} V",
            )


def _tracks(data: Mapping[str, Any]) -> Found:
    limits = data["limits"]
    two = [key for key in TRACK_B if key in limits]
    if two and data["sensor"].get("tracks", 1) != 2:
        yield f"limits.{two[0]}", "needs two tracks", "", "sensor.tracks = 2"
    slope = limits.get("slope_b")
    if slope is not None and slope["low"] <= 0 <= slope["high"]:
        seen = f"{slope['low']:g} to {slope['high']:g} V/V"
        yield (
            "limits.slope_b",
            "allows a track B that does not move",
            seen,
            "both ends above 0, or both below",
        )


def _aim(data: Mapping[str, Any]) -> Found:
    if "aim" not in data:
        return
    if not data["sensor"].get("slotted", False):
        yield "aim", "needs a slotted mount", "slotted = false", "sensor.slotted = true"
    at, closed = _value(data, "aim", "closed"), data["limits"].get("closed")
    if closed is not None and not closed["low"] <= at <= closed["high"]:
        limit = f"{closed['low']:g} to {closed['high']:g} V"
        yield "aim.closed.value", "is outside the range of the closed end", f"{at:g} V", limit


def _series(data: Mapping[str, Any]) -> Found:
    rest, longest = _value(data, "series", "rest"), _value(data, "series", "longest")
    if rest >= longest:
        yield "series.rest.value", "is as long as a whole sweep", f"{rest:g} s", f"less than {longest:g} s"
