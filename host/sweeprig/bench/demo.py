"""The demo: an invented order of an invented workshop, played on the simulated rig."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sweeprig.words import Starts

if TYPE_CHECKING:
    from sweeprig.bench.sweep.sweep import SweepOrder

SCENE = (
    "Everything here is invented: a workshop, its order 0417 and two sensors for one throttle body.\n"
    "No rig is attached; the board's own firmware runs against a simulated sensor and front end."
)


@dataclass(frozen=True)
class Scene:
    """One sensor on the bench."""

    sensor: str
    title: str
    label: str
    profile: str = "adjustable-potentiometer"
    seed: int = 417
    serial: str = "SIM-417"
    turn: float = 0.0  # [degrees] of the sensor on its mount

    def url(self, *, fast: bool) -> str:
        """Return the simulated rig's URL."""
        return f"sim://{self.sensor}?seed={self.seed}&pace={'fast' if fast else 'real'}&board=full&turn={self.turn:g}"


STORY = (
    Scene("worn", "The sensor as received: used, reported to hesitate on light throttle", "as-found"),
    Scene(
        "good", "The new sensor, mounted and turned to its place", "replacement", serial="SIM-418", turn=0.3
    ),
)


def scenes(sensor: str = "") -> tuple[Scene, ...]:
    """Return the scenes to play: the story, or one named sensor."""
    if not sensor:
        return STORY
    from sweeprig.twin.sensors import load_sensor

    chosen = load_sensor(sensor)
    return (Scene(sensor, f"Simulated sensor: {chosen.title}", sensor, chosen.profile),)


def sensor_titles() -> dict[str, str]:
    """Return name -> title of the simulated sensors."""
    from sweeprig.twin.sensors import load_sensor, sensor_names

    return {name: load_sensor(name).title for name in sensor_names()}


def demo_order(scene: Scene, out: Path, seconds: float) -> SweepOrder:
    """Return the order of one scene; no record is kept of a demo."""
    from sweeprig.bench.sweep.sweep import SweepOrder
    from sweeprig.capture.model import SweepSetup

    setup = SweepSetup(
        starts=Starts.CLOSED,
        profile=scene.profile,
        seconds=seconds,
        operator="demo operator (invented)",
        job="order 0417 (invented)",
        sensor_label=scene.label,
        part="three-wire position sensor (simulated)",
        serial=scene.serial,
    )
    return SweepOrder(setup=setup, folder=out, calibrations=out / "calibrations", timed=True)
