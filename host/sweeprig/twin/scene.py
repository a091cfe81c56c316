"""What the sensor does, before any circuit: shares of the supply, contact resistance, and events in time.

It is made in steps of half a window and in blocks of fixed size, so that the same seed gives the same sensor whatever
lengths are taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.twin.hands import HandPath
from sweeprig.twin.rehearsal import BENCH, KeyedPath
from sweeprig.twin.sensors import NOMINAL_SUPPLY_V, Fault, SensorSpec

FloatArray = NDArray[np.float64]

STEPS = 2  # knots in one window; between knots everything is a straight line
CONVERSION_S = 1.0 / wire.CONVERSION_HZ  # of any channel
WINDOW_S = wire.WINDOW * wire.CHANNELS * CONVERSION_S
KNOT_S = WINDOW_S / STEPS
BLOCK = 1024  # knots made at a time
NEVER_S = 1e9
TRACKS = {"a": (0,), "b": (1,), "both": (0, 1)}


class Disturbance(NamedTuple):
    """A stretch of time in which a channel's source is changed."""

    start_s: float
    stop_s: float
    channel: int
    kind: str  # lift | short | ground | supply-lift | supply | add
    value: float  # ohm, or share of the supply that is left, or volts
    fault: int  # index of the fault in the sensor's list


@dataclass(frozen=True)
class Knots:
    """The sensor at equal steps of time; arrays (m,) or (2, m) for the two tracks."""

    x: FloatArray  # lever, share of travel
    share: FloatArray  # (2, m) of the supply at each wiper, open circuit
    contact_ohm: FloatArray  # (2, m)
    supply_share: FloatArray  # of what feeds the sensor
    ground_v: FloatArray
    hum_v: FloatArray
    wobble: FloatArray  # slow relative error of the converter's reference


class Path(Protocol):
    """What moves a lever."""

    def take(self, n: int) -> FloatArray:
        """Return the next n places (n,), shares of travel, KNOT_S apart."""
        ...


class Scene:
    """Sensor, lever and events, made block by block. `path` moves the lever, else the sensor's own hand does."""

    def __init__(
        self,
        spec: SensorSpec,
        *,
        seed: int,
        hum_v: float,
        hum_hz: float,
        wobble: float,
        path: Path | None = None,
        block: int = BLOCK,
    ) -> None:
        self.spec = spec
        self._n = block
        self._rng = np.random.default_rng([seed, 0x5C])
        self._path: Path = HandPath(spec.hand, seed=seed, dt_s=KNOT_S)
        self._moves = path is not None or spec.lever != "still"
        self._late = path is not None  # what it makes is drawn at once: no event can begin before its block
        if path is not None:
            self._path = path
        elif spec.lever == "keys":
            self._path = KeyedPath(BENCH, spec.hand, dt_s=KNOT_S)
        self._hum = (hum_v, hum_hz, float(self._rng.uniform(0, 2 * np.pi)))
        self._wobble_sd = wobble
        self._wobble = 0.0
        self._texture = self._rng.normal(0.0, 1.0, 400)
        self._play = 0.5  # where the wiper was left before the lever came to its start
        self._last_x: float | None = None
        self._held = 0.0
        self._made = 0
        self._ready: Knots | None = None
        self._places: list[FloatArray] = []
        self.events: list[Disturbance] = []  # all that were made, in order of start

    @property
    def _still(self) -> float:
        """The place of a lever that nobody moves."""
        hand = self.spec.hand
        return hand.open_at if hand.starts == "open" else hand.closed_at

    def take(self, n: int) -> Knots:
        """Return the next n knots."""
        parts = [] if self._ready is None else [self._ready]
        have = sum(p.x.size for p in parts)
        while have < n:
            parts.append(self._block())
            have += self._n
        whole = parts[0] if len(parts) == 1 else join(parts)
        self._ready = cut(whole, n, None)
        return cut(whole, 0, n)

    @property
    def places(self) -> FloatArray:
        """Where the lever was at every knot so far (m,), share of travel; KNOT_S apart."""
        return np.concatenate(self._places) if self._places else np.zeros(0)

    def still(self, x: FloatArray) -> Knots:
        """Return the sensor at places x (m,) of the lever, without anything that changes in time."""
        none = np.zeros(x.size)
        return Knots(
            x=x,
            share=np.stack([self._share("a", x), self._share("b", x)]),
            contact_ohm=np.full((2, x.size), self.spec.contact_ohm),
            supply_share=np.ones(x.size),
            ground_v=none,
            hum_v=none,
            wobble=none,
        )

    def _block(self) -> Knots:
        x = self._path.take(self._n) if self._moves else np.full(self._n, self._still)
        t_s = (self._made + np.arange(self._n)) * KNOT_S
        self._places.append(x)
        self._make_events(x, t_s)
        seen = self._through_play(x)
        hum_v, hz, phase = self._hum
        hum = hum_v * (np.sin(2 * np.pi * hz * t_s + phase) + 0.2 * np.sin(6 * np.pi * hz * t_s))
        knots = Knots(
            x=x,
            share=np.stack([self._share("a", seen), self._share("b", seen)]),
            contact_ohm=np.full((2, self._n), self.spec.contact_ohm),
            supply_share=self._supply_share(t_s),
            ground_v=self._ground(t_s),
            hum_v=hum,
            wobble=self._walk(),
        )
        self._made += self._n
        return knots

    def _of(self, *kinds: str) -> list[tuple[int, Fault]]:
        return [(i, f) for i, f in enumerate(self.spec.faults) if f.kind in kinds]

    def _walk(self) -> FloatArray:
        """First-order noise of the reference, correlation time 20 ms."""
        if not self._wobble_sd:
            return np.zeros(self._n)
        keep = np.exp(-KNOT_S / 0.02)
        step = self._rng.normal(0.0, self._wobble_sd * np.sqrt(1 - keep**2), self._n)
        power = keep ** np.arange(1, self._n + 1)  # falls to 3e-6 over a block: no trouble for a sum
        out = power * (self._wobble + np.cumsum(step / power))
        self._wobble = float(out[-1])
        return np.asarray(out)

    def _through_play(self, x: FloatArray) -> FloatArray:
        """Return the wiper's place where lever and wiper have play between them."""
        found = self._of("backlash")
        if not found:
            return x
        width, out = found[0][1].width, np.empty_like(x)
        at = self._play
        for i, place in enumerate(x):
            at = min(max(at, place - width / 2), place + width / 2)
            out[i] = at
        self._play = at
        return out

    def _share(self, track: str, x: FloatArray) -> FloatArray:
        spec = self.spec
        closed, opened = (spec.closed_v, spec.open_v) if track == "a" else (spec.closed_b_v, spec.open_b_v)
        if closed is None or opened is None:
            return np.zeros(x.size)
        for _, fault in self._of("stuck"):
            x = np.full(x.size, fault.place)
        volts = closed + (opened - closed) * self._course(track, x)
        for _, fault in self._of("bump"):
            if fault.track in (track, "both"):
                volts = volts + fault.volts * np.exp(-0.5 * ((x - fault.place) / fault.width) ** 2)
        for _, fault in self._of("rough"):
            if fault.track in (track, "both"):
                volts = volts + fault.volts * np.interp(
                    x, np.linspace(0, 1, self._texture.size), self._texture
                )
        share = np.clip(volts / NOMINAL_SUPPLY_V, 0.0, 1.0)
        if spec.kind == "switch":
            return np.where(share > 0.5, 0.97, 0.03)
        return share

    def _course(self, track: str, x: FloatArray) -> FloatArray:
        """Return the place on the track's own scale: constant over a flat stretch, continuous beside it."""
        for _, fault in self._of("flat"):
            if fault.track in (track, "both"):
                low, high = fault.place - fault.width / 2, fault.place + fault.width / 2
                x = np.interp(x, [0.0, low, high, 1.0], [0.0, fault.place, fault.place, 1.0])
        return x

    def _supply_share(self, t_s: FloatArray) -> FloatArray:
        share = np.ones(t_s.size)
        for _, fault in self._of("supply-sag"):
            length = fault.length_s or NEVER_S
            u = np.clip((t_s - fault.start_s) / min(length, 1.0), 0.0, 1.0)
            back = np.clip((t_s - fault.start_s - length) / 0.3, 0.0, 1.0)
            share = share - fault.depth * (u * u * (3 - 2 * u) - back)
        return share

    def _ground(self, t_s: FloatArray) -> FloatArray:
        volts = np.zeros(t_s.size)
        for _, fault in self._of("ground-shift"):
            length = fault.length_s or NEVER_S
            rise = np.clip((t_s - fault.start_s) / 0.05, 0.0, 1.0)
            fall = np.clip((t_s - fault.start_s - length) / 0.05, 0.0, 1.0)
            volts = volts + fault.volts * (rise - fall)
        return volts

    def _make_events(self, x: FloatArray, t_s: FloatArray) -> None:
        made: list[Disturbance] = []
        before = x[0] if self._last_x is None else self._last_x
        for index, fault in self._of("worn"):
            made += self._worn(index, fault, np.concatenate([[before], x]), t_s)
        for index, fault in self._of("loose", "supply-dropout", "interference"):
            made += self._any_time(index, fault, float(t_s[0]))
        self._last_x = float(x[-1])
        self.events += sorted(made)

    def _length(self, fault: Fault) -> float:
        low, high = np.log(fault.duration_s)
        return float(np.exp(self._rng.uniform(low, high)))

    def _worn(self, index: int, fault: Fault, x: FloatArray, t_s: FloatArray) -> list[Disturbance]:
        """The wiper chatters each time it passes the worn spot."""
        ahead = x > fault.place
        made = []
        for k in np.flatnonzero(ahead[1:] != ahead[:-1]):
            if self._rng.random() > fault.chance:
                continue
            slope = (x[k + 1] - x[k]) / KNOT_S
            at = t_s[k] - KNOT_S + (fault.place - x[k]) / slope
            for _ in range(int(self._rng.integers(fault.lifts[0], fault.lifts[1] + 1))):
                start = at + self._rng.uniform(-0.5, 0.5) * fault.width / max(abs(slope), 0.05)
                start = max(start, float(t_s[0])) if self._late else start
                made += self._events_of(index, fault, start)
        return made

    def _any_time(self, index: int, fault: Fault, from_s: float) -> list[Disturbance]:
        length = self._n * KNOT_S
        times = [t for t in fault.at_s if from_s <= t < from_s + length]
        if fault.rate_hz:
            n = int(self._rng.poisson(fault.rate_hz * length))
            times += list(from_s + self._rng.uniform(0, length, n))
        return [e for t in times if t > fault.start_s for e in self._events_of(index, fault, float(t))]

    def _events_of(self, index: int, fault: Fault, start_s: float) -> list[Disturbance]:
        stop = start_s + self._length(fault)
        if fault.kind == "interference":
            return self._burst(index, fault, start_s, stop)
        channels, kind, value = {
            "supply-dropout": ((0, 1, 2), "supply", 1.0 - fault.depth),
            "ground": ((0, 1), "ground", 0.0),
            "supply": ((0, 1, 2), "supply-lift", 0.0),
        }.get(fault.wire if fault.kind == "loose" else fault.kind, (TRACKS[fault.track], "lift", fault.depth))
        return [Disturbance(start_s, stop, c, kind, value, index) for c in channels]

    def _burst(self, index: int, fault: Fault, start_s: float, stop_s: float) -> list[Disturbance]:
        """A burst rings: half waves of either sign by turns, each smaller than the one before."""
        n = int(self._rng.integers(2, 7))
        edge = np.linspace(start_s, stop_s, n + 1)
        volts = self._rng.choice([-1.0, 1.0]) * fault.volts * (-0.75) ** np.arange(n)
        return [
            Disturbance(edge[k], edge[k + 1], c, "add", float(volts[k]), index)
            for k in range(n)
            for c in TRACKS[fault.track]
        ]


def join(parts: list[Knots]) -> Knots:
    """Return the parts one after another."""
    names = Knots.__dataclass_fields__
    return Knots(**{n: np.concatenate([getattr(p, n) for p in parts], axis=-1) for n in names})


def cut(knots: Knots, start: int, stop: int | None) -> Knots:
    """Return some of the knots."""
    return Knots(**{n: getattr(knots, n)[..., start:stop] for n in Knots.__dataclass_fields__})
