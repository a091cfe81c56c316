"""A scene: hand, sensor, wiring and what is wrong; voltages at the sensor pins at any time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from population.cases import GRID_S, Fault
from population.converter import Converter
from population.script import Hand, with_play
from population.sensor import Network, Sensor, Short, look_up, solve
from population.waves import Digital, Knots, Wave

Array = NDArray[np.float64]
Edit = Callable[[Array, Array], Array]


@dataclass(frozen=True, eq=False)
class Rig:
    """How the rig is built for this case."""

    chip: str
    build: str
    hookup: str
    converter: Converter
    tau_s: tuple[float, float, float]
    divider: tuple[float, float, float] = (0.6, 0.6, 0.6)
    b_noise_lsb: float = 0.5


@dataclass(frozen=True, eq=False)
class Logger:
    """How the logger's table is made."""

    instants_s: Array
    shown_s: Array
    step_v: float
    places: int
    top_v: float = 1e9
    with_b: bool = False
    noise_v: float = 0.001


@dataclass(frozen=True)
class Event:
    """A time in which an output goes elsewhere: target = keep * own voltage + pull * supply."""

    start_s: float
    end_s: float
    channels: str = "A"
    keep: float = 0.0
    pull: float = 0.0
    tau_s: float = 1e-6


@dataclass(eq=False)
class Scene:
    """Everything of one case before it is rendered."""

    rng: np.random.Generator
    hand: Hand
    sensor: Sensor
    burden_ohm: float
    open_tau_s: float
    supply_v: float
    rig: Rig | None = None
    logger: Logger | None = None
    play: float = 0.0
    starts: str = "closed"
    slips: list[tuple[float, float]] = field(default_factory=list)
    edits: dict[str, list[Edit]] = field(default_factory=lambda: {"A": [], "B": []})
    profiles: dict[str, Array] = field(default_factory=dict)
    shorts: dict[str, Short] = field(default_factory=dict)
    join_siemens: Array | None = None
    events: list[Event] = field(default_factory=list)
    waves: list[Wave] = field(default_factory=list)
    digital: Digital | None = None
    faults: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    must_not: tuple[str, ...] | None = None
    undecided: bool = False
    sense_known: bool = True
    no_ends: bool = False
    _shaft: Array | None = field(default=None, repr=False)
    _ratios: list[Array] | None = field(default=None, repr=False)

    @property
    def grid_s(self) -> Array:
        """Times of the movement's grid."""
        return np.arange(len(self.hand.x)) * GRID_S

    @property
    def two(self) -> bool:
        """Two tracks?"""
        return len(self.sensor.tracks) == 2

    @property
    def shaft(self) -> Array:
        """Shaft position: lever, play, slips of the mount."""
        if self._shaft is None:
            u = with_play(self.hand.x, self.play).copy()
            for at, by in self.slips:
                u += by / (1 + np.exp(-np.clip((self.grid_s - at) / 0.0004, -60, 60)))
            self._shaft = u
        return self._shaft

    def changed(self) -> None:
        """Forget what was computed: call after a change of slips, edits, shorts or bridge."""
        self._shaft, self._ratios = None, None

    def ratios(self) -> list[Array]:
        """Output ratios on the grid, loaded."""
        if self._ratios is None:
            raw = []
            for name, track in zip("AB", self.sensor.tracks, strict=False):
                ratio = track.ratio(self.shaft)
                for edit in self.edits[name]:
                    ratio = edit(self.shaft, ratio)
                raw.append(np.clip(ratio, 0.0, 1.0))
            net = Network(self.burden_ohm, self.shorts, self.join_siemens)
            self._ratios = solve(self.sensor, net, raw)
        return self._ratios

    def sum_waves(self, target: str, t: Array, kinds: type[Wave] = Wave) -> Array:
        """All waves on one target."""
        out = np.zeros(len(t))
        for wave in self.waves:
            if target in wave.targets and isinstance(wave, kinds):
                out += wave.add(t, self.rng)
        return out

    def slow_voltages(self) -> tuple[list[Array], Array]:
        """Output voltages and supply on the grid without events and fast waves."""
        t = self.grid_s
        v = self.supply_v + self.sum_waves("V", t, Knots)
        g = self.sum_waves("G", t, Knots)
        outs = []
        for name, ratio in zip("AB", self.ratios(), strict=False):
            y = g + ratio * (v - g) + self.sum_waves(name, t, Knots)
            if name in self.profiles:
                y = y + look_up(self.profiles[name], self.shaft)
            outs.append(y)
        return outs, v

    def voltages(self, t: Array) -> tuple[Array, Array | None, Array]:
        """A, B (None without second track) and S at the pins at sorted times."""
        v = np.maximum(self.supply_v + self.sum_waves("V", t), 0.0)
        g = self.sum_waves("G", t)
        grid, u = self._window(t)
        outs: list[Array] = []
        for name, whole in zip("AB", self.ratios(), strict=False):
            ratio = np.interp(t, grid[0], whole[grid[1]])
            if self.digital is not None:
                ratio = self.digital.render(t, ratio)
            y = g + ratio * (v - g)
            if name in self.profiles and self.digital is None:
                y += look_up(self.profiles[name], u)
            y += self.sum_waves(name, t)
            outs.append(self._apply_events(name, whole, t, y, v))
        s = np.maximum(v + self.sum_waves("S", t), 0.0)
        return outs[0], (outs[1] if len(outs) > 1 else None), s

    def _window(self, t: Array) -> tuple[tuple[Array, slice], Array]:
        """The grid's part that covers t, and the shaft position at t."""
        low = max(0, int(t[0] / GRID_S) - 1) if len(t) else 0
        high = min(len(self.hand.x), int(t[-1] / GRID_S) + 3) if len(t) else 1
        low = min(low, high - 1)
        part = slice(low, high)
        times = np.arange(low, high) * GRID_S
        return (times, part), np.interp(t, times, self.shaft[part])

    def own_voltage(self, channel: int, at: float) -> float:
        """Undisturbed output at one time."""
        ratio = self.ratios()[channel]
        return float(np.interp(at / GRID_S, np.arange(len(ratio)), ratio)) * self.supply_v

    def _apply_events(self, name: str, whole: Array, t: Array, y: Array, v: Array) -> Array:
        base = y.copy() if self.events else y
        for e in self.events:
            if name not in e.channels or not len(t) or e.end_s <= t[0] or e.start_s > t[-1]:
                continue
            i, j = np.searchsorted(t, [e.start_s, e.end_s])
            if j > i:
                first = self.own_voltage("AB".index(name), e.start_s)
                goal = e.keep * base[i:j] + e.pull * v[i:j]
                y[i:j] = goal + (first - goal) * np.exp(-(t[i:j] - e.start_s) / e.tau_s)
        return np.maximum(y, -0.3)

    def deviation(self, e: Event, channel: int) -> float:
        """How far the output is from its own voltage at the end of an event, after the low pass."""
        first, own = self.own_voltage(channel, e.start_s), self.own_voltage(channel, e.end_s)
        length = e.end_s - e.start_s
        goal = e.keep * own + e.pull * self.supply_v
        reached = goal + (first - goal) * np.exp(-length / e.tau_s)
        smooth = 1 - np.exp(-length / 14e-6) if self.rig else 1.0
        return float(abs(reached - own) * smooth)

    def least_visible_v(self) -> float:
        """The deviation below which the record cannot show an event for sure."""
        if self.logger is not None:
            return max(0.012, 2 * self.logger.step_v)
        return 0.020 if self.rig is not None and self.rig.chip == "rp2040" else 0.012

    def is_seen(self, e: Event, channel: int) -> bool:
        """True if the record holds a sample of the event that stands out."""
        if self.deviation(e, channel) < self.least_visible_v() or e.start_s > self.hand.duration_s:
            return False
        if self.logger is None:
            return True
        i, j = np.searchsorted(self.logger.instants_s, [e.start_s, e.end_s])
        return bool(j > i)

    def add_events(
        self,
        events: list[Event],
        *,
        cause: str,
        seat: str,
        place: float | None = None,
        share: float | None = None,
    ) -> None:
        """Take the events in and write down the fault with what it reaches."""
        self.events.extend(events)
        if not events:
            self.faults.append(Fault(cause, seat, "A", place, share))
            return
        channel = events[0].channels[0]
        c = "AB".index(channel)
        depth = float(np.median([self.deviation(e, c) for e in events])) / self.supply_v * 100
        length = float(np.median([e.end_s - e.start_s for e in events]))
        seen = sum(self.is_seen(e, c) for e in events)
        named = events[0].channels
        self.faults.append(Fault(cause, seat, named, place, share, depth, length, len(events), seen))

    def add_fault(
        self,
        cause: str,
        seat: str,
        channel: str = "A",
        place: float | None = None,
        depth_v: float = 0.0,
        duration_s: float = 0.0,
        share: float | None = None,
    ) -> None:
        """Write down a lasting fault."""
        self.faults.append(
            Fault(cause, seat, channel, place, share, depth_v / self.supply_v * 100, duration_s)
        )
