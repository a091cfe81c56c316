"""A rig with a sensor on it: conversions as the chip would make them, slow readings, and the truth.

Knows nothing of the firmware, of the analysis or of what a fault should be called.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.twin.circuit import settled
from sweeprig.twin.flow import Flow, Noise
from sweeprig.twin.rehearsal import DRAWN_AHEAD
from sweeprig.twin.render import PER_STEP
from sweeprig.twin.rig import Rig, RigSettings
from sweeprig.twin.scene import BLOCK, STEPS, Knots, Path, Scene, cut, join
from sweeprig.twin.sensors import SensorSpec, load_sensor
from sweeprig.twin.slow import readings
from sweeprig.twin.sources import sources
from sweeprig.twin.toggling import Toggler

FloatArray = NDArray[np.float64]

WINDOW_S: float = wire.WINDOW * wire.CHANNELS / wire.CONVERSION_HZ


@dataclass(frozen=True)
class WorldTruth:
    """What is true at the sensor, loaded as the rig loads it, with the supply as it is."""

    closed_v: float
    open_v: float
    supply_v: float  # before any fault
    sense: str
    closed_b_v: float | None
    open_b_v: float | None
    closed_ratio: float
    open_ratio: float


class World(Rig):
    """One rig, one sensor, one hand. The same arguments give the same conversions.

    `seed` draws the hand, the faults and the noise; `rig` is what RigSettings takes, its `rig_seed` is `seed` where
    it is not given. With a `path` the lever goes where that says, looked at once a chunk.
    """

    def __init__(
        self,
        spec: SensorSpec | str,
        *,
        seed: int = 0,
        pooled_noise: bool = False,
        chunk: int = DRAWN_AHEAD,
        path: Path | None = None,
        **rig: Any,
    ) -> None:
        spec = load_sensor(spec) if isinstance(spec, str) else spec
        super().__init__(spec, RigSettings(**{"rig_seed": seed, **rig}))
        on = self.settings
        block = BLOCK if path is None else chunk * STEPS
        self.scene = Scene(
            spec, seed=seed, hum_v=on.hum_v, hum_hz=on.hum_hz, wobble=3e-5, path=path, block=block
        )
        noise = Noise(seed, self.converter.noise_lsb, pooled=pooled_noise)
        self._flow = self._before = Flow(noise, Toggler(spec, seed=seed))
        self._chunk = chunk
        self._ahead: list[NDArray[np.uint16]] | None = None
        self._given = self._drawn_from = 0
        self._n_given = 0  # windows since the world began
        self._slow_rng = np.random.default_rng([seed, 0x510])
        self._last: Knots | None = None
        self._knots = self.scene.still(np.zeros(1))
        self.outputs = wire.OUT_SUPPLY

    # ------------------------------------------------------------ conversions

    def raw(self, n_windows: int, outputs: int) -> NDArray[np.uint16]:
        """Return the next conversions, (n_windows * window * 3,), channels interleaved."""
        out = np.empty((n_windows, wire.WINDOW, wire.CHANNELS), np.uint16)
        at = 0
        while at < n_windows:
            codes = self.channels(n_windows - at, outputs)
            n = codes[0].shape[0]
            for channel, of_one in enumerate(codes):
                out[at : at + n, :, channel] = of_one
            at += n
        return out.reshape(-1)

    def channels(self, most: int, outputs: int) -> list[NDArray[np.uint16]]:
        """Return the next windows of each channel, three arrays (n, window), 1 <= n <= most.

        They are drawn a chunk ahead, whatever is asked for, so that the same seed gives the same codes.
        """
        if self._ahead is None or self._given == self._chunk:
            self._knots, self._given = self._next_knots(), 0
            self._draw_ahead(outputs)
        elif outputs != self.outputs:
            self._draw_anew(outputs)
        self.outputs = outputs
        start, stop = self._given, min(self._chunk, self._given + most)
        self._given = stop
        self._n_given += stop - start
        first = start - self._drawn_from
        return [c[first : first + stop - start] for c in self._ahead or ()]

    def _next_knots(self) -> Knots:
        if self._last is None:
            self._last = self.scene.take(1)
        knots = join([self._last, self.scene.take(self._chunk * STEPS)])
        self._last = cut(knots, -1, None)
        return knots

    def _draw_ahead(self, outputs: int) -> None:
        """Draw from the window that is next to the chunk's end; keep what is needed to draw it anew."""
        self._before, self._drawn_from = self._flow.copy(), self._given
        self._ahead = self._flow.draw(
            self, self.scene.events, cut(self._knots, self._given * STEPS, None), outputs
        )

    def _draw_anew(self, outputs: int) -> None:
        """The switches changed: take back what was drawn ahead and not given."""
        self._flow, n = self._before, self._given - self._drawn_from
        if n:
            given = cut(self._knots, self._drawn_from * STEPS, self._given * STEPS + 1)
            self._flow.draw(self, self.scene.events, given, self.outputs)
        self._draw_ahead(outputs)

    def like(self, spec: SensorSpec | str, *, seed: int, **other: Any) -> World:
        """Return the same rig with another sensor on it, or on another day (`vref_shift`, `temperature_c`)."""
        return World(spec, seed=seed, **{**vars(self.settings), **other})

    def truth(self, outputs: int | None = None) -> WorldTruth:
        """Return the loaded volts at the sensor at both ends, without faults in time."""
        outputs = self.outputs if outputs is None else outputs
        supply, hand = self.supply_v(outputs), self.spec.hand
        play = sum(f.width / 2 for f in self.spec.faults if f.kind == "backlash")  # the wiper lags behind
        volts = self.levels_v(np.array([hand.closed_at + play, hand.open_at - play]), outputs)
        two, drop = self.spec.two_tracks, self.ground_drop_v(outputs)
        volts, supply = (volts[0] - drop, volts[1] - drop), supply - drop
        return WorldTruth(
            closed_v=float(volts[0][0]),
            open_v=float(volts[0][1]),
            supply_v=supply,
            sense=self.spec.truth.sense,
            closed_b_v=float(volts[1][0]) if two else None,
            open_b_v=float(volts[1][1]) if two else None,
            closed_ratio=float(volts[0][0]) / supply if supply else float("nan"),
            open_ratio=float(volts[0][1]) / supply if supply else float("nan"),
        )

    def levels_v(self, places: FloatArray, outputs: int) -> tuple[FloatArray, FloatArray]:
        """Return the loaded volts at the sensor of signals A and B, each (n,), at rest at `places` (n,), 0 to 1."""
        given, nets = sources(self, self.scene.still(places), outputs), self.networks(outputs)
        a, b = (settled(nets[c], given.normal[c].e_v, given.normal[c].g_s)[0] for c in range(2))
        return a, b

    @property
    def lever(self) -> float:
        """Where the lever is, share of travel."""
        return float(self._knots.x[max(0, self._given * STEPS - 1)])

    def slow(self, outputs: int) -> dict[str, object]:
        """Return {"readings": [[wire.SLOW_*, status, value], ...], "fault": supply limited, "button": down}."""
        found = [list(r) for r in self.readings(outputs)]
        return {"readings": found, "fault": self.supply_limited(outputs), "button": False}

    def readings(self, outputs: int) -> list[tuple[int, int, int]]:
        """Return slow readings of this moment, each (wire.SLOW_*, status, value)."""
        at = max(0, self._given * STEPS - 1)
        now = cut(self._knots, at, at + 1)
        battery_v = self.battery_v(self._n_given * WINDOW_S)
        return readings(self, now, outputs, self._slow_rng, battery_v=battery_v)


assert PER_STEP * STEPS == wire.WINDOW
