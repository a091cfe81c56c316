"""One channel as a circuit: wiper, cable, divider, burden, bias, filter. Linear, solved exactly.

Three nodes: wiper (cable capacitance), divided node, pin. A lifted wiper lets the first node go: it decays
through burden and divider as its capacitances say, and so does everything after it.
All values are those of sweeprig.frontend, each moved within its tolerance.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.frontend import FrontEnd
from sweeprig.frontend.tables import Part, parts, table

FloatArray = NDArray[np.float64]
CHANNELS: int = wire.CHANNELS


@dataclass(frozen=True)
class Board:
    """The front end of one built rig, part by part. Arrays have shape (3,): signal A, signal B, supply."""

    front_end: FrontEnd
    r_top_ohm: FloatArray
    r_bottom_ohm: FloatArray
    node_f: FloatArray
    r_pin_ohm: FloatArray
    pin_f: FloatArray
    burden_ohm: FloatArray  # inf where none is fitted
    offset_v: FloatArray  # of the buffers
    cable: float  # capacitance of the lead over that of the table
    vref_v: float
    rail_v: float  # lowest output of the buffers; they stop as far below their supply
    leak_s: FloatArray = field(
        default_factory=lambda: np.zeros((2, CHANNELS))
    )  # clamps: node to rail, node to ground
    ground_ohm: float = 0.0  # of the powered lead

    def ratio(self, channel: int) -> float:
        """Volts at the divided node per volt at the sensor, as built."""
        top, bottom = self.r_top_ohm[channel], self.r_bottom_ohm[channel]
        return float(bottom / (top + bottom))


def draw_board(front_end: FrontEnd, rng: np.random.Generator, *, vref_v: float | None = None) -> Board:
    """Return one built rig: every part within its tolerance, evenly spread (an assumption)."""
    listed = parts_of(front_end.build)

    def spread(nominal: float, key: str) -> FloatArray:
        return nominal * (1.0 + rng.uniform(-1, 1, CHANNELS) * (listed[key].tol if key in listed else 0.05))

    burden = front_end.burden_ohm or np.inf
    tol = front_end.adc_vref_tol
    return Board(
        front_end=front_end,
        r_top_ohm=spread(front_end.r_top_ohm, "r_top"),
        r_bottom_ohm=spread(front_end.r_bottom_ohm, "r_bottom"),
        node_f=spread(front_end.c_f, "c_node"),
        r_pin_ohm=spread(front_end.r_pin_ohm, "r_out" if front_end.buffered else "r_pin"),
        pin_f=spread(front_end.c_pin_f, "c_out"),
        burden_ohm=np.append(spread(burden, "burden")[:2], np.inf),
        offset_v=rng.uniform(-1, 1, CHANNELS) * front_end.buffer_offset_v,
        cable=float(rng.uniform(0.6, 1.4)),
        vref_v=front_end.adc_vref_v * (1 + rng.uniform(-tol, tol)) if vref_v is None else vref_v,
        rail_v=listed["buffer"].more["rail_v"] if front_end.buffered else 0.0,
    )


def warmed(board: Board, rng: np.random.Generator, *, temperature_c: float) -> Board:
    """Return the rig at a temperature: resistors and clamps drift within what the parts list allows, each its own way.

    A clamp leaks in proportion to the volts across it (an assumption), twice as much every 10 K.
    """
    listed, t = parts_of(board.front_end.build), table()["temperature"]
    kelvin, rail_v = temperature_c - float(t["calibration_c"]), float(table()["rail"]["nominal_v"])
    top, bottom = (
        r * (1.0 + rng.uniform(-1, 1, CHANNELS) * listed[key].more["tempco"] * kelvin)
        for r, key in ((board.r_top_ohm, "r_top"), (board.r_bottom_ohm, "r_bottom"))
    )
    grown = board.front_end.clamp_leakage_a * 2.0 ** (kelvin / float(t["leakage_doubles_k"]))
    leak_s = rng.uniform(0, 1, (2, CHANNELS)) * grown / rail_v
    ground_ohm = rng.uniform() * float(table()["leads"]["powered"]["ground_ohm"])
    return replace(board, r_top_ohm=top, r_bottom_ohm=bottom, leak_s=leak_s, ground_ohm=ground_ohm)


@dataclass(frozen=True)
class Network:
    """One channel with its switches as they stand. SI units."""

    g_top: float
    g_bottom: float
    g_load: float  # from the wiper's node to ground: burden, another controller
    g_bias: float  # from the divided node to bias_v: bias resistor and the upper clamp's leakage
    bias_v: float
    cable_f: float
    node_f: float
    r_pin_ohm: float
    pin_f: float
    buffered: bool


@lru_cache(maxsize=8)
def parts_of(build: str) -> Mapping[str, Part]:
    """Return the parts list of a build, read once."""
    return parts(build)


def _diode_v(build: str) -> float:
    listed = parts_of(build)
    return listed["d_bias"].value if "d_bias" in listed else 0.0


def network(
    board: Board, channel: int, *, burden: bool, bias: int, tapped: bool, controller_ohm: float
) -> Network:
    """Return a channel's network; `bias` is +1 (up), -1 (down) or 0 (released)."""
    fe, signal = board.front_end, channel < CHANNELS - 1
    load = burden / board.burden_ohm[channel] + tapped / controller_ohm if signal else 0.0
    pulled = signal and bias > 0  # down: its diode blocks below diode_v
    g_bias = 1.0 / fe.bias_ohm if pulled and fe.bias_ohm else 0.0
    rail_v, (up, down) = float(table()["rail"]["nominal_v"]), board.leak_s[:, channel]
    pull = (
        g_bias * (rail_v - _diode_v(fe.build)) + up * rail_v
    )  # what bias and the upper clamp feed into the node [A]
    return Network(
        g_top=1.0 / float(board.r_top_ohm[channel]),
        g_bottom=1.0 / float(board.r_bottom_ohm[channel]) + float(down),
        g_load=float(load),
        g_bias=g_bias + float(up),
        bias_v=float(pull / (g_bias + up)) if g_bias + up else 0.0,
        cable_f=board.cable * fe.cable_f("tapped" if tapped and "tapped" in fe.hookups else "powered"),
        node_f=float(board.node_f[channel]),
        r_pin_ohm=float(board.r_pin_ohm[channel]),
        pin_f=float(board.pin_f[channel]),
        buffered=fe.buffered,
    )


def settled(net: Network, e_v: FloatArray, g_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the volts at wiper and divided node (n,) for a source of e_v (n,) behind conductance g_s (n,).

    Kirchhoff at both nodes; g_s = 0 is an open wire.
    """
    g_n = net.g_top + net.g_bottom + net.g_bias
    alpha, beta = net.g_top / g_n, net.g_bias * net.bias_v / g_n
    wiper = (g_s * e_v + net.g_top * beta) / (g_s + net.g_load + net.g_top * (1.0 - alpha))
    return wiper, alpha * wiper + beta


@dataclass(frozen=True)
class Modes:
    """How what is not settled dies away: z(t) = V exp(L t) V^-1 z(0), z = (wiper, node, pin)."""

    rates: FloatArray  # (3,) [1/s], negative
    vectors: FloatArray  # (3, 3)
    inverse: FloatArray

    @property
    def slowest_s(self) -> float:
        """Longest time constant [s]."""
        return float(-1.0 / self.rates.max())

    def after(self, z: FloatArray, seconds: float) -> FloatArray:
        """Return the three volts (3,) that are left after some time [s]."""
        return np.asarray(self.vectors @ (np.exp(self.rates * seconds) * (self.inverse @ z)))

    def pin(self, z: FloatArray, t_s: FloatArray) -> FloatArray:
        """Return what is left at the pin at times t_s (n,) [s]."""
        weight = self.vectors[2] * (self.inverse @ z)
        return np.asarray(weight @ np.exp(np.outer(self.rates, t_s)))


def modes(net: Network, g_s: float) -> Modes:
    """Return the modes of a network whose wiper sees conductance g_s [S]; 0 is an open wire."""
    g_pin = 1.0 / net.r_pin_ohm
    back = 0.0 if net.buffered else g_pin
    g_n = net.g_top + net.g_bottom + net.g_bias
    a = np.array(
        [
            [-(g_s + net.g_load + net.g_top) / net.cable_f, net.g_top / net.cable_f, 0.0],
            [net.g_top / net.node_f, -(g_n + back) / net.node_f, back / net.node_f],
            [0.0, g_pin / net.pin_f, -g_pin / net.pin_f],
        ]
    )
    rates, vectors = np.linalg.eig(a)
    return Modes(np.real(rates), np.real(vectors), np.real(np.linalg.inv(vectors)))
