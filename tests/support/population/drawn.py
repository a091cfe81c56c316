"""Sound sensors, hands and rigs drawn over wide ranges."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from sweeprig.twin.hands import Hand
from sweeprig.twin.sensors import SensorSpec

Rng = np.random.Generator


def log_uniform(rng: Rng, low: float, high: float) -> float:
    """Draw between two values, evenly in the logarithm."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def any_hand(rng: Rng) -> Hand:
    """Any hand: slow or fast, hesitating, trembling, letting go, stopping short."""
    pace, rest = log_uniform(rng, 0.22, 1.3), log_uniform(rng, 0.15, 0.6)
    first = float(rng.uniform(0.25, 0.7))
    return Hand(
        starts="closed" if rng.random() < 0.9 else "open",
        first_rest_s=(first, first + 0.1),
        stroke_s=(pace * 0.8, pace * 1.25),
        rest_s=(rest * 0.8, rest * 1.3),
        strokes=int(rng.integers(1, 13)),
        partial=float(rng.uniform(0, 0.3)) if rng.random() < 0.3 else 0.0,
        hesitate=float(rng.uniform(0, 0.6)) if rng.random() < 0.4 else 0.0,
        snap=float(rng.uniform(0.2, 1.0)) if rng.random() < 0.3 else 0.0,
        bounce=float(rng.uniform(0.0, 0.06)),
        tremor=float(rng.uniform(0.0005, 0.006)) if rng.random() < 0.6 else 0.0,
    )


def sound_sensor(rng: Rng) -> SensorSpec:
    """A sensor without a fault, its ends clear of the rails."""
    low, high = float(rng.uniform(0.3, 0.95)), float(rng.uniform(3.7, 4.7))
    falling, hall = rng.random() < 0.35, rng.random() < 0.2
    spec = SensorSpec(
        name="drawn",
        title="Drawn from the population",
        profile="hall" if hall else "adjustable-potentiometer",
        kind="hall" if hall else "potentiometer",
        closed_v=high if falling else low,
        open_v=low if falling else high,
        track_ohm=log_uniform(rng, 1e3, 1e4),
        contact_ohm=log_uniform(rng, 30.0, 600.0),
        controller_ohm=log_uniform(rng, 47e3, 470e3),
        controller_supply_v=float(rng.uniform(4.75, 5.25)),
        hand=any_hand(rng),
    )
    return second_track(spec, rng) if rng.random() < 0.25 else spec


def second_track(spec: SensorSpec, rng: Rng) -> SensorSpec:
    """Add a second track in one of the usual relations: half scale, parallel, opposed."""
    relation = str(rng.choice(["half-scale", "parallel", "opposed"]))
    closed, opened = spec.closed_v, spec.open_v
    if relation == "half-scale":
        closed, opened = closed / 2, opened / 2
    elif relation == "opposed":
        closed, opened = 5.0 - closed, 5.0 - opened
    else:
        shift = -0.5 * min(1.0, (min(closed, opened) - 0.15) / 0.5)
        closed, opened = closed + shift, opened + shift
    return replace(spec, profile=f"two-tracks-{relation}", closed_b_v=closed, open_b_v=opened)


def tall(spec: SensorSpec) -> SensorSpec:
    """Return the sensor with its high end at 4.75 of 5 V and a full supply: it crosses the highest wide code."""
    rising = spec.open_v > spec.closed_v
    closed, opened = (spec.closed_v, 4.75) if rising else (4.75, spec.open_v)
    return replace(single_track(spec), closed_v=closed, open_v=opened, controller_supply_v=5.24)


def any_rig(rng: Rng) -> tuple[str, dict[str, Any]]:
    """Return a hookup, and a rig for World."""
    build = "plain" if rng.random() < 0.2 else "full"
    hookup = "tapped" if build == "full" and rng.random() < 0.25 else "powered"
    rig = {
        "build": build,
        "chip": str(rng.choice(["rp2040", "rp2040-odd", "rp2350"], p=[0.6, 0.15, 0.25])),
        "usb_v": float(rng.uniform(4.6, 5.25)),
        "hum_v": float(rng.uniform(0.0, 4e-3)),
        "hum_hz": float(rng.choice([50.0, 60.0])),
    }
    return hookup, rig


def single_track(spec: SensorSpec) -> SensorSpec:
    """Return the sensor without its second track."""
    profile = "adjustable-potentiometer" if spec.kind == "potentiometer" else "hall"
    return replace(spec, profile=profile, closed_b_v=None, open_b_v=None)
