"""How a sensor's signal reaches the pin: three linear equations, solved exactly.

States: the wiper's node (cable capacitance), the divided node, the pin. Sampling is that of the wire.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from sweepboard import wire

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

SOURCE_OHM = 10.0  # a sensor of low resistance, and the resistance of a hard short
STEPS = 4000
LONGEST_S = 20e-3


@dataclass(frozen=True)
class Path:
    """One channel from the wiper to the pin, SI units."""

    cable_f: float
    load_ohm: float  # from the wiper to sensor ground; inf: none
    r_top_ohm: float
    r_bottom_ohm: float
    node_f: float
    buffered: bool
    r_pin_ohm: float
    pin_f: float


def conversion_s() -> float:
    """Return the time between two conversions of one channel [s]."""
    return float(wire.CHANNELS) / float(wire.CONVERSION_HZ)


def _matrix(path: Path, source_ohm: float) -> FloatArray:
    import numpy as np

    g_source = 1 / source_ohm
    g_top, g_bottom, g_pin = 1 / path.r_top_ohm, 1 / path.r_bottom_ohm, 1 / path.r_pin_ohm
    back = 0.0 if path.buffered else g_pin
    return np.array(
        [
            [-(g_source + 1 / path.load_ohm + g_top) / path.cable_f, g_top / path.cable_f, 0.0],
            [g_top / path.node_f, -(g_top + g_bottom + back) / path.node_f, back / path.node_f],
            [0.0, g_pin / path.pin_f, -g_pin / path.pin_f],
        ]
    )


@dataclass(frozen=True)
class _Mode:
    """One linear network: x(t) = V exp(L t) V^-1 (x0 - end) + end."""

    vectors: FloatArray
    inverse: FloatArray
    rates: FloatArray
    end: FloatArray

    def at(self, start: FloatArray, t_s: FloatArray) -> FloatArray:
        """Return the states at times t_s (n,), shape (3, n)."""
        import numpy as np

        weight = self.inverse @ (start - self.end)
        grown = np.exp(np.outer(self.rates, t_s)) * weight[:, None]
        return np.real(self.vectors @ grown) + self.end[:, None]


def _mode(path: Path, source_ohm: float, source_v: float) -> _Mode:
    import numpy as np

    a = _matrix(path, source_ohm)
    drive = np.array([source_v / source_ohm / path.cable_f, 0.0, 0.0])
    rates, vectors = np.linalg.eig(a)
    return _Mode(vectors, np.linalg.inv(vectors), rates, np.linalg.solve(a, -drive))


@lru_cache(maxsize=64)
def _modes(path: Path, kind: str) -> tuple[_Mode, _Mode]:
    """Return (as it was before and after, during the dropout). `kind` is short or open."""
    during = _mode(path, SOURCE_OHM, 0.0) if kind == "short" else _mode(path, math.inf, 0.0)
    return _mode(path, SOURCE_OHM, 1.0), during


def _pin_share(path: Path, kind: str, seconds: float, after_s: FloatArray) -> tuple[float, FloatArray]:
    """Return the share lost at the pin when the dropout ends, and at times after that (n,)."""
    import numpy as np

    rest, during = _modes(path, kind)
    last = during.at(rest.end, np.array([seconds]))[:, 0]
    full = rest.end[2]
    return 1 - float(last[2] / full), 1 - rest.at(last, after_s)[2] / full


def depth(path: Path, *, seconds: float, kind: str) -> float:
    """Return the largest share of the signal that is lost at the pin, 0 to 1."""
    import numpy as np

    at_end, after = _pin_share(path, kind, seconds, np.linspace(0.0, 50e-6, STEPS))
    return max(at_end, float(after.max()))


def below_s(path: Path, *, seconds: float, kind: str, share: float) -> float:
    """Return how long [s] at least `share` of the signal is lost at the pin, for a dropout of `seconds`."""
    import numpy as np

    rest, during = _modes(path, kind)
    t = np.linspace(0.0, seconds, STEPS)
    before = 1 - during.at(rest.end, t)[2] / rest.end[2]
    tail = np.linspace(0.0, 200e-6, STEPS)
    _, after = _pin_share(path, kind, seconds, tail)
    step_in, step_after = seconds / (STEPS - 1), float(tail[1])
    return float(np.count_nonzero(before >= share) * step_in + np.count_nonzero(after >= share) * step_after)


def settling_s(path: Path, *, share: float, source_ohm: float = SOURCE_OHM) -> float:
    """Return the time [s] after a step from 0 V until the pin stays within `share` of its end."""
    import numpy as np

    rest = _mode(path, source_ohm, 1.0)
    t = np.linspace(0.0, 1e-3, 40 * STEPS)
    away = np.abs(1 - rest.at(np.zeros(3), t)[2] / rest.end[2]) > share
    return float(t[np.flatnonzero(away)[-1] + 1]) if away.any() and not away[-1] else math.inf


@lru_cache(maxsize=256)
def shortest_s(path: Path, *, kind: str, share: float) -> float:
    """Return the shortest dropout [s] that one conversion is sure to see with `share` of the signal lost.

    Sure: the pin stays beyond the threshold for at least the time between two conversions of one channel.
    inf where even a very long one does not reach the threshold.
    """
    low, high = 0.0, LONGEST_S
    if below_s(path, seconds=high, kind=kind, share=share) < conversion_s():
        return math.inf
    for _ in range(40):
        middle = (low + high) / 2
        if below_s(path, seconds=middle, kind=kind, share=share) < conversion_s():
            low = middle
        else:
            high = middle
    return high


def gain(path: Path, frequency_hz: float) -> float:
    """Return the magnitude from the wiper's node (driven hard) to the pin at one frequency."""
    s = 2j * math.pi * frequency_hz
    pin = 1 / (1 + s * path.r_pin_ohm * path.pin_f)  # from what drives R to the pin
    y = 1 / path.r_bottom_ohm + s * path.node_f
    if not path.buffered:
        y += s * path.pin_f * pin
    return abs(pin / (1 + path.r_top_ohm * y))


@lru_cache(maxsize=64)
def corner_hz(path: Path) -> float:
    """Return the frequency at which the gain is 1/sqrt(2) of that at zero [Hz]."""
    low, high = 1.0, 1e8
    want = gain(path, 0.0) / math.sqrt(2)
    for _ in range(60):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if gain(path, middle) > want else (low, middle)
    return low
