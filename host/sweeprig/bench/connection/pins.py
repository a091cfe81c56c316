"""Which pin is which, from ohmmeter readings between up to six pins at closed and open throttle.

A potentiometer with ends a, b and wiper w: R_ab stays, R_aw + R_wb = R_ab + 2 r stays too (r in series with the
wiper), and R_aw, R_wb move against each other. Idle-switch contacts go between nearly zero and open circuit; they
are set apart first. What does not fit stops the work: an unidentified pin is never to be powered. Hall parts
have no such readings. The bounds below are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import chain, combinations

from sweeprig.errors import InputError

MAX_PINS = 6
CONTACT_OHM = 10.0  # a closed contact reads less
SAME_RELATIVE = 0.05  # two readings closer than this are the same
SAME_OHM = 5.0  # ... or closer than this
SUM_RELATIVE = 0.10  # the sum over the wiper may depart this much from one position to the other

Pair = tuple[int, int]
Readings = Mapping[Pair, tuple[float, float]]  # (at closed, at open) in ohm, inf: open circuit


@dataclass(frozen=True)
class TrackPins:
    """One track: where to connect it for a signal that rises as the throttle opens."""

    supply: int
    ground: int
    wiper: int
    track_ohm: float
    wiper_ohm: float  # in series with the wiper; 0 where it cannot be told
    travel_percent: float  # of the track, that the wiper moves


@dataclass(frozen=True)
class SwitchPins:
    """Two contacts that close or open with the lever."""

    pins: Pair
    closed_at: str  # closed | open throttle


@dataclass(frozen=True)
class PinsResult:
    """What the readings say. `safe` is False where any pin is not explained."""

    tracks: tuple[TrackPins, ...]
    switches: tuple[SwitchPins, ...]
    unexplained: tuple[int, ...]
    reasons: tuple[str, ...]

    @property
    def safe(self) -> bool:
        """True where every pin is explained and there is a track."""
        return bool(self.tracks) and not self.unexplained


def same(first: float, second: float) -> bool:
    """Return True where two readings are the same within the bounds; open circuit equals only itself."""
    if math.isinf(first) or math.isinf(second):
        return first == second
    return abs(first - second) <= max(SAME_OHM, SAME_RELATIVE * max(first, second))


def check_readings(readings: Readings) -> list[int]:
    """Return the pins; raise InputError where a pair is missing or a reading is not a resistance."""
    pins = sorted({pin for pair in readings for pin in pair})
    if not 3 <= len(pins) <= MAX_PINS:
        raise InputError("The pins cannot be identified.", seen=f"{len(pins)} pins", limit=f"3 to {MAX_PINS} pins",
                         next_step="measure between all pins of the plug, plug off the harness")  # fmt: skip
    missing = [pair for pair in combinations(pins, 2) if pair not in readings]
    if missing:
        raise InputError("Readings are missing.", seen=", ".join(f"{a}-{b}" for a, b in missing),
                         limit="every pair of pins, at closed and at open", next_step="measure these too")  # fmt: skip
    for pair, values in readings.items():
        _check_ohms(pair, values)
    return pins


def _check_ohms(pair: Pair, values: tuple[float, float]) -> None:
    if not all(v >= 0 for v in values):  # NaN is not
        raise InputError(f"The reading between pins {pair[0]} and {pair[1]} is not a resistance.", seen=str(values),
                         limit="0 ohm or more; OL for open circuit", next_step="measure it again")  # fmt: skip


def find_switches(readings: Readings) -> list[SwitchPins]:
    """Return pairs that go between a closed contact and open circuit."""
    found = []
    for pair, (closed, opened) in readings.items():
        low, high = sorted((closed, opened))
        if low < CONTACT_OHM and math.isinf(high):
            found.append(SwitchPins(pair, "closed" if closed < opened else "open"))
    return found


def switch_only(pin: int, switch: SwitchPins, readings: Readings) -> bool:
    """Return True where `pin` touches nothing but its switch: isolated in the position where that is open."""
    position = 1 if switch.closed_at == "closed" else 0
    return all(math.isinf(values[position]) for pair, values in readings.items() if pin in pair)


def components(pins: Iterable[int], readings: Readings) -> list[list[int]]:
    """Return groups of pins that are joined by a finite reading in both positions."""
    left, groups = set(pins), []
    while left:
        group, todo = set(), [min(left)]
        while todo:
            pin = todo.pop()
            group.add(pin)
            near = {p for p in left - group if all(map(math.isfinite, between(readings, pin, p)))}
            todo.extend(near - set(todo))
        left -= group
        groups.append(sorted(group))
    return groups


def between(readings: Readings, a: int, b: int) -> tuple[float, float]:
    """Return the readings between two pins, whichever is named first."""
    return readings[(a, b) if a < b else (b, a)]


def fit_track(readings: Readings, a: int, b: int, wiper: int) -> TrackPins | None:
    """Return the track with ends a, b if the readings obey the potentiometer's rules, else None."""
    ends, to_a, to_b = between(readings, a, b), between(readings, a, wiper), between(readings, b, wiper)
    if not same(*ends) or same(*to_a) or same(*to_b):
        return None
    track = sum(ends) / 2
    sums = [to_a[i] + to_b[i] for i in (0, 1)]
    if abs(sums[0] - sums[1]) > SUM_RELATIVE * max(sums) or min(sums) < (1 - SUM_RELATIVE) * track:
        return None
    away_from_a = to_a[1] - to_a[0]
    if away_from_a * (to_b[1] - to_b[0]) >= 0:
        return None
    ground, supply = (a, b) if away_from_a > 0 else (b, a)
    return TrackPins(
        supply, ground, wiper, track, max(0.0, (sum(sums) / 2 - track) / 2), abs(away_from_a) / track * 100
    )


def tracks_of(group: list[int], readings: Readings) -> list[TrackPins]:
    """Return the tracks that explain every pin of a group; empty where none or more than one way fits."""
    ways = []
    for a, b in combinations(group, 2):
        wipers = [pin for pin in group if pin not in (a, b)]
        fitted = [fit_track(readings, a, b, w) for w in wipers]
        if wipers and all(fitted):
            ways.append([t for t in fitted if t is not None])
    return ways[0] if len(ways) == 1 else []


def why_not(group: list[int], readings: Readings) -> str:
    """Return why a group of pins is not explained."""
    names = ", ".join(map(str, group))
    pairs = list(combinations(group, 2))
    if len(group) == 1:
        return f"Pin {names} has no connection: not connected, or an active (Hall) part that an ohmmeter cannot read."
    if all(same(*between(readings, a, b)) for a, b in pairs):
        return f"Pins {names}: no reading changes with the lever. The lever did not move, or this is not a track."
    return (
        f"Pins {names}: these are not the readings of a potentiometer, where one pair stays the same and of the other "
        "two one rises as the other falls. Measure again; a Hall part cannot be read this way: do not guess."
    )


def _switches(readings: Readings) -> tuple[tuple[SwitchPins, ...], set[int]]:
    """Return the idle contacts of which a pin touches nothing else, and those pins."""
    lone = [(s, p) for s in find_switches(readings) for p in s.pins if switch_only(p, s, readings)]
    return tuple(dict.fromkeys(s for s, _ in lone)), {p for _, p in lone}


def identify_pins(readings: Readings) -> PinsResult:
    """Tell tracks, switch contacts and unexplained pins apart.

    `readings` maps each pair of pins (lower number first) to its resistance at closed and at open throttle [ohm],
    math.inf for open circuit. Raises InputError for missing pairs, NaN or negative values.
    """
    pins = check_readings(readings)
    switches, apart = _switches(readings)
    groups = components([p for p in pins if p not in apart], readings)
    tracks = [(group, tracks_of(group, readings)) for group in groups]
    unexplained = [group for group, found in tracks if not found]
    return PinsResult(
        tuple(chain.from_iterable(found for _, found in tracks)),
        switches,
        tuple(chain.from_iterable(unexplained)),
        tuple(why_not(group, readings) for group in unexplained),
    )
