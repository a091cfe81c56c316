"""Faults drawn over wide ranges, put on a sound sensor."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from sweeprig.twin.sensors import Fault, SensorSpec

from .drawn import Rng, log_uniform, second_track, single_track

DURATION_S = (10e-6, 50e-3)  # of dropouts

Spoil = Callable[[SensorSpec, Rng], SensorSpec]


def _with(spec: SensorSpec, *faults: Fault) -> SensorSpec:
    return replace(spec, faults=spec.faults + faults)


def _lengths(rng: Rng, *, low: float = DURATION_S[0], high: float = DURATION_S[1]) -> tuple[float, float]:
    middle = log_uniform(rng, low, high)
    return max(low, middle / 2), min(high, middle * 2)


def _depth(rng: Rng) -> float:
    return 1.0 if rng.random() < 0.5 else float(rng.uniform(0.2, 1.0))


def _worn(spec: SensorSpec, rng: Rng) -> SensorSpec:
    place, width = float(rng.uniform(0.06, 0.94)), float(rng.uniform(0.001, 0.008))
    chance, lifts = float(rng.uniform(0.6, 1.0)), (1, int(rng.integers(1, 5)))
    length = _lengths(rng, high=5e-3)  # longer ones would cover more of the travel than the place is wide
    fault = Fault(
        "worn", place=place, width=width, chance=chance, lifts=lifts, depth=_depth(rng), duration_s=length
    )
    return _with(replace(spec, hand=replace(spec.hand, strokes=max(spec.hand.strokes, 4))), fault)


def _loose(spec: SensorSpec, rng: Rng) -> SensorSpec:
    return _with(
        spec, Fault("loose", rate_hz=log_uniform(rng, 0.8, 10.0), depth=_depth(rng), duration_s=_lengths(rng))
    )


def _loose_ground(spec: SensorSpec, rng: Rng) -> SensorSpec:
    return _with(
        spec, Fault("loose", wire="ground", rate_hz=log_uniform(rng, 0.8, 6.0), duration_s=_lengths(rng))
    )


def _single(spec: SensorSpec, rng: Rng) -> SensorSpec:
    at = (float(rng.uniform(0.3, 4.6)),)
    return _with(spec, Fault("loose", at_s=at, depth=_depth(rng), duration_s=_lengths(rng)))


def _supply(spec: SensorSpec, rng: Rng) -> SensorSpec:
    depth = float(rng.uniform(0.2, 1.0))
    fault = Fault(
        "supply-dropout", rate_hz=log_uniform(rng, 0.8, 6.0), depth=depth, duration_s=_lengths(rng, low=50e-6)
    )
    return _with(spec, fault)


def _sag(spec: SensorSpec, rng: Rng) -> SensorSpec:
    start, length = float(rng.uniform(0.3, 2.0)), float(rng.uniform(0.6, 2.0))
    return _with(
        spec, Fault("supply-sag", depth=float(rng.uniform(0.04, 0.3)), start_s=start, length_s=length)
    )


def _ground(spec: SensorSpec, rng: Rng) -> SensorSpec:
    start, length = float(rng.uniform(0.3, 2.0)), float(rng.uniform(0.6, 2.0))
    return _with(
        spec, Fault("ground-shift", volts=float(rng.uniform(0.06, 0.5)), start_s=start, length_s=length)
    )


def _flat(spec: SensorSpec, rng: Rng) -> SensorSpec:
    hand = replace(spec.hand, strokes=max(spec.hand.strokes, 4))
    fault = Fault("flat", place=float(rng.uniform(0.2, 0.8)), width=float(rng.uniform(0.02, 0.08)))
    return _with(replace(spec, hand=hand), fault)


def _dead_band(spec: SensorSpec, rng: Rng) -> SensorSpec:
    """The track ends before the travel does, at one end."""
    spec = replace(single_track(spec), kind="potentiometer", profile="adjustable-potentiometer")
    beyond = float(rng.uniform(0.15, 0.9))
    low_end = bool(rng.random() < 0.5)
    low, high = (
        (-beyond, max(spec.closed_v, spec.open_v))
        if low_end
        else (min(spec.closed_v, spec.open_v), 5 + beyond)
    )
    rising = spec.open_v > spec.closed_v
    return replace(spec, closed_v=low if rising else high, open_v=high if rising else low)


def _bump(spec: SensorSpec, rng: Rng) -> SensorSpec:
    spec = spec if spec.two_tracks else second_track(spec, rng)
    volts = float(rng.choice([-1, 1]) * rng.uniform(0.1, 0.4))
    fault = Fault(
        "bump",
        track="b",
        place=float(rng.uniform(0.25, 0.75)),
        width=float(rng.uniform(0.03, 0.1)),
        volts=volts,
    )
    return _with(spec, fault)


def _kind(kind: str) -> Spoil:
    return lambda spec, rng: replace(
        single_track(spec), kind=kind, toggle_hz=log_uniform(rng, 80.0, 1000.0), profile="hall"
    )


def _over(spec: SensorSpec, rng: Rng) -> SensorSpec:
    return replace(
        single_track(spec), kind="hall", profile="hall", own_supply_v=float(rng.uniform(7.5, 14.5))
    )


def _always(kind: str) -> Spoil:
    return lambda spec, rng: _with(spec, Fault(kind, track="both", ohm=float(rng.uniform(0.3, 2.0))))


FAULTY: dict[str, Spoil] = {
    "worn": _worn,
    "loose": _loose,
    "loose-ground": _loose_ground,
    "single": _single,
    "supply-dropout": _supply,
    "supply-sag": _sag,
    "ground-shift": _ground,
    "flat": _flat,
    "dead-band": _dead_band,
    "bump": _bump,
    "worn-and-loose": lambda spec, rng: _loose(_worn(spec, rng), rng),
    "rough": lambda s, rng: _with(s, Fault("rough", track="both", volts=float(rng.uniform(0.008, 0.05)))),
    "backlash": lambda s, rng: _with(s, Fault("backlash", width=float(rng.uniform(0.02, 0.08)))),
    "interference": lambda s, rng: _with(
        s,
        Fault(
            "interference",
            rate_hz=log_uniform(rng, 2, 20),
            volts=float(rng.uniform(0.2, 1.5)),
            duration_s=_lengths(rng, high=1e-3),
        ),
    ),
    "stuck": lambda s, rng: _with(s, Fault("stuck", place=float(rng.uniform(0.1, 0.9)))),
    "tracks-shorted": lambda s, rng: _with(
        s if s.two_tracks else second_track(s, rng), Fault("tracks-shorted", ohm=float(rng.uniform(0.5, 5.0)))
    ),
    "open-signal": _always("open-signal"),
    "short-to-ground": _always("short-to-ground"),
    "short-to-supply": _always("short-to-supply"),
    "pwm": _kind("pwm"),
    "digital": _kind("digital"),
    "switch": _kind("switch"),
    "over-range": _over,
}
