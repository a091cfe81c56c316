"""Ohmmeter readings as they are typed, and what `pins` says about them."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from itertools import combinations
from typing import Any

from sweeprig.bench.connection.pins import MAX_PINS, Pair, PinsResult, TrackPins
from sweeprig.errors import InputError

_SUFFIX = {"": 1.0, "r": 1.0, "ohm": 1.0, "k": 1e3, "kohm": 1e3, "m": 1e6, "mohm": 1e6}
_OPEN = {"ol", "o.l", "o.l.", "open", "inf", "infinite", "-"}
_HOW = "type ohms (850), kilohms (4.87k) or OL for open circuit"

MAYBE_HALL = (
    "It may be a Hall part: no ohmmeter. Take the pins from the part number or the wiring diagram; nothing is connected"
    " until they are known."
)
CAUTIONS = (
    "Ohmmeter only with the plug OFF the harness: with the ignition off, and nothing else on these pins.",
    "Never on a part that may be a Hall or other active sensor: the meter's own voltage can harm it.",
    "Never connect a supply to a pin that is not identified below.",
)


def parse_ohm(text: str) -> float:
    """Return a resistance [ohm] as typed, math.inf for open circuit. Raises InputError."""
    clean = text.strip().lower().replace(",", ".").replace("ω", "ohm").replace(" ", "")
    if clean in _OPEN:
        return math.inf
    found = re.fullmatch(r"(\d+(?:\.\d*)?|\.\d+)(r|k|m|ohm|kohm|mohm)?", clean)
    if not found:
        seen = clean or "nothing"
        raise InputError(
            "This is not a resistance.", seen=seen, limit="ohms in digits, 0 or more", next_step=_HOW
        )
    return float(found[1]) * _SUFFIX[found[2] or ""]


def parse_reading(text: str) -> tuple[Pair, tuple[float, float]]:
    """Return a pair of pins and its readings from "1-3=850/4.1k" (closed/open throttle). Raises InputError."""
    found = re.fullmatch(r"\s*([1-9])\s*-\s*([1-9])\s*=\s*([^/]+)(?:/([^/]+))?", text)
    if not found or found[1] == found[2]:
        raise InputError(
            "A reading is not valid.",
            seen=text,
            limit="PIN-PIN=OHMS at closed/open throttle, for example 1-3=850/4.1k",
            next_step=_HOW,
        )
    a, b = sorted((int(found[1]), int(found[2])))
    closed = parse_ohm(found[3])
    return (a, b), (closed, parse_ohm(found[4]) if found[4] else closed)


def parse_readings(texts: Iterable[str]) -> dict[Pair, tuple[float, float]]:
    """Return all readings; a pair that is given twice raises InputError."""
    readings: dict[Pair, tuple[float, float]] = {}
    for text in texts:
        pair, values = parse_reading(text)
        if pair in readings:
            raise InputError(
                f"Pins {pair[0]}-{pair[1]} are given twice.",
                seen=text,
                limit="one reading a pair",
                next_step="keep the right one",
            )
        readings[pair] = values
    return readings


def pairs_of(n_pins: int) -> list[Pair]:
    """Return the pairs to measure on a plug of `n_pins`. Raises InputError."""
    if not 3 <= n_pins <= MAX_PINS:
        raise InputError(
            "The pins cannot be identified.",
            seen=f"{n_pins} pins",
            limit=f"3 to {MAX_PINS} pins",
            next_step="count the pins of the sensor's plug; leave out what has no contact",
        )
    return list(combinations(range(1, n_pins + 1), 2))


def _track_lines(track: TrackPins, name: str) -> list[str]:
    lines = [
        f"{name}: ends are pins {track.ground} and {track.supply}, the wiper is pin {track.wiper}.",
        f"  sensor ground to pin {track.ground}, supply to pin {track.supply}, signal from pin {track.wiper}:"
        " the signal rises as the throttle opens.",
        "  With ground and supply swapped it falls.",
        f"  Track {track.track_ohm:.0f} ohm (for --track-ohm); the wiper uses {track.travel_percent:.0f} % of it.",
    ]
    if track.wiper_ohm >= 1:
        lines.append(f"  About {track.wiper_ohm:.0f} ohm are in series with the wiper.")
    return lines


def result_lines(result: PinsResult) -> list[str]:
    """Return what the readings say, in plain lines."""
    lines: list[str] = []
    for switch in result.switches:
        lines.append(
            f"Pins {switch.pins[0]} and {switch.pins[1]}: idle contacts, closed at {switch.closed_at} throttle."
        )
    for number, track in enumerate(result.tracks):
        name = "Track" if len(result.tracks) == 1 else f"Track {'AB'[number]}"
        lines += _track_lines(track, name)
    lines += result.reasons
    if result.safe:
        lines.append("Every pin is identified.")
    else:
        names = ", ".join(map(str, result.unexplained)) or "all"
        lines.append(f"STOP: pin {names} not identified. Do not power this part.")
    return lines


def result_json(result: PinsResult) -> dict[str, Any]:
    """Return the same as one JSON object; resistances in ohm."""
    return {
        "schema_version": 1,
        "safe_to_power": result.safe,
        "tracks": [
            {
                "ground_pin": t.ground,
                "supply_pin": t.supply,
                "wiper_pin": t.wiper,
                "track_ohm": t.track_ohm,
                "wiper_series_ohm": t.wiper_ohm,
                "travel_percent_of_track": t.travel_percent,
            }
            for t in result.tracks
        ],
        "switches": [{"pins": list(s.pins), "closed_at": s.closed_at} for s in result.switches],
        "unexplained_pins": list(result.unexplained),
        "reasons": list(result.reasons),
    }
