"""A potentiometer, its wiring and a rig as a resistor network, solved by Kirchhoff's current law.

Written from the circuit alone, with no line shared with what it checks: unknown node voltages x, conductance
matrix G, source currents i, G x = i.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweeprig.bench.connection.model import Position
from sweeprig.bench.readings.live import Levels
from sweeprig.frontend import FrontEnd

NODES = ("a", "b", "w", "supply", "signal", "node")  # track ends, wiper; rig's leads; divided node
SUPPLY_V = 4.99
SOURCE_OHM = 0.1
JOIN = 1e3  # siemens: a good joint
BIAS_V = 2.75  # 3.3 V less a silicon diode at 2 uA, about 0.55 V: common practice, no source


@dataclass(frozen=True)
class Wiring:
    """Which pin each lead is on; None: open. `shorts` are pairs of leads joined."""

    supply: str | None = "b"
    ground: str | None = "a"
    signal: str | None = "w"
    shorts: tuple[tuple[str, str], ...] = ()
    track_ohm: float = 5000.0


def solve(
    wiring: Wiring, place: float, end: FrontEnd, *, burden: bool, bias: bool
) -> tuple[float, float, float]:
    """Return volts of signal and supply lead and the supply current [A], the wiper at `place` of the track."""
    g = np.zeros((6, 6))
    i = np.zeros(6)

    def at(name: str) -> int | None:
        return None if name == "ground" else NODES.index(name)

    def join(p: str, q: str, siemens: float) -> None:
        m, n = at(p), at(q)
        for x, y in ((m, n), (n, m)):
            if x is not None:
                g[x, x] += siemens
                if y is not None:
                    g[x, y] -= siemens

    join("a", "w", 1 / max(1.0, place * wiring.track_ohm))
    join("w", "b", 1 / max(1.0, (1 - place) * wiring.track_ohm))
    for lead in ("supply", "ground", "signal"):
        pin = getattr(wiring, lead)
        if pin is not None:
            join(pin, lead, JOIN)
    for p, q in wiring.shorts:
        join(p, q, 1 / 3.0)
    i[NODES.index("supply")] += SUPPLY_V / SOURCE_OHM
    join("supply", "ground", 1 / SOURCE_OHM)
    join("signal", "node", 1 / end.r_top_ohm)
    join("node", "ground", 1 / end.r_bottom_ohm)
    if burden and end.burden_ohm:
        join("signal", "ground", 1 / end.burden_ohm)
    if bias and end.bias_ohm:
        join("node", "ground", 1 / end.bias_ohm)
        i[NODES.index("node")] += BIAS_V / end.bias_ohm
    g += np.eye(6) * 1e-12
    x = np.linalg.solve(g, i)
    supply = float(x[NODES.index("supply")])
    return float(x[NODES.index("node")] / end.divider_ratio), supply, (SUPPLY_V - supply) / SOURCE_OHM


def position(wiring: Wiring, place: float, end: FrontEnd, *, current: bool) -> Position:
    """Return what a rig would measure with the wiper at `place` of its track."""

    def levels(*, burden: bool, bias: bool) -> Levels:
        signal, supply, amps = solve(wiring, place, end, burden=burden, bias=bias)
        return Levels(
            n_windows=200,
            signal_v=signal,
            noise_v=0.0005,
            low_v=signal - 0.003,
            high_v=signal + 0.003,
            supply_v=supply,
            current_a=amps if current else None,
        )

    fitted = end.burden_ohm is not None
    on = levels(burden=True, bias=False)
    if not fitted:
        return Position(on)
    return Position(on, levels(burden=False, bias=False), levels(burden=False, bias=True))
