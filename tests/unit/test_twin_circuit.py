"""The simulated circuit against circuit laws written down by other means."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.optimize import minimize_scalar

from sweepboard import wire
from sweeprig.frontend import FrontEnd, front_end
from sweeprig.frontend.tables import parts
from sweeprig.twin.circuit import CHANNELS, Board, Network, draw_board, modes, network, settled
from sweeprig.twin.sensors import Fault, SensorSpec
from sweeprig.twin.world import World

STILL = SensorSpec(name="t", title="t", kind="hall", closed_v=3.0, open_v=3.0, lever="still", source_ohm=50.0)


def ideal_board(front_end: FrontEnd) -> Board:
    """Return a rig whose parts have exactly their nominal values."""
    none = np.zeros(CHANNELS)
    one = np.ones(CHANNELS)
    burden = front_end.burden_ohm or np.inf
    return Board(
        front_end, front_end.r_top_ohm * one, front_end.r_bottom_ohm * one, front_end.c_f * one,
        front_end.r_pin_ohm * one, front_end.c_pin_f * one, np.array([burden, burden, np.inf]), none, 1.0,
        front_end.adc_vref_v, 0.0,
    )  # fmt: skip


def quiet(spec: SensorSpec, build: str = "full") -> World:
    return World(spec, seed=5, build=build, noise_lsb=0.0, hum_v=0.0)


def volts(world: World, codes: np.ndarray, channel: int = 0) -> np.ndarray:
    """Codes back to volts at the pin by the converter's own levels: half an LSB of doubt."""
    levels = world.converter.levels
    middle = np.concatenate([[levels[0]], (levels[1:] + levels[:-1]) / 2, [levels[-1]]])
    return middle[codes.reshape(-1, wire.CHANNELS)[:, channel]] / world.lsb_per_v


@pytest.mark.parametrize(
    ("k", "percent", "at"),
    [(1, 12.15851, 0.688892), (2, 6.67256, 0.678363), (10, 1.44933, 0.669109), (100, 0.14782, 0.666913)],
)
def test_loading_follows_the_loaded_divider(k: float, percent: float, at: float) -> None:
    """Expected: Vout/Vs = x / (1 + x(1-x)/k) maximised; figures of components makers' public handbooks."""
    end = front_end("plain")
    net = network(ideal_board(end), 0, burden=False, bias=0, tapped=False, controller_ohm=np.inf)
    track = end.input_ohm / k

    def loss(x: float) -> float:
        ohm = max(track * x * (1 - x), 1e-9)
        return float(x - settled(net, np.array([x]), np.array([1 / ohm]))[0][0])

    worst = minimize_scalar(
        lambda x: -loss(x), bounds=(0.01, 0.99), method="bounded", options={"xatol": 1e-9}
    )
    assert 100 * loss(worst.x) == pytest.approx(percent, abs=2e-5)
    assert worst.x == pytest.approx(at, abs=1e-4)


def test_an_open_wiper_decays_as_one_exponential() -> None:
    """v = v0 exp(-t / RC), R = burden parallel to the divider, C = the cable: the law itself."""
    end = front_end("full")
    net = network(ideal_board(end), 0, burden=True, bias=0, tapped=False, controller_ohm=np.inf)
    net = replace(net, node_f=1e-18, pin_f=1e-18)
    tau = end.burden_at_sensor_ohm * net.cable_f
    t_s = np.linspace(0, 5 * tau, 50)
    start = np.array([3.0, 1.8, 1.8])
    assert modes(net, 0.0).slowest_s == pytest.approx(tau, rel=1e-6)
    assert modes(net, 0.0).pin(start, t_s) == pytest.approx(1.8 * np.exp(-t_s / tau), abs=1e-5)


def _reference(n: Network, source: tuple[float, float], start: np.ndarray, t_s: np.ndarray) -> np.ndarray:
    """Kirchhoff's three equations once more, by the matrix exponential; source is (siemens, volts)."""
    g_s, e_v = source
    back = 0.0 if n.buffered else 1 / n.r_pin_ohm
    c = np.diag([n.cable_f, n.node_f, n.pin_f])
    g = np.array(
        [
            [g_s + n.g_load + n.g_top, -n.g_top, 0],
            [-n.g_top, n.g_top + n.g_bottom + n.g_bias + back, -back],
            [0, -1 / n.r_pin_ohm, 1 / n.r_pin_ohm],
        ]
    )
    drive = np.array([g_s * e_v, n.g_bias * n.bias_v, 0])
    end = np.linalg.solve(g, drive)
    a = -np.linalg.inv(c) @ g
    return np.array([end + expm(a * t) @ (start - end) for t in t_s])


@pytest.mark.parametrize("channel", [0, 1])
@pytest.mark.parametrize(
    ("build", "outputs"),
    [("plain", wire.OUT_SUPPLY), ("full", wire.OUT_SUPPLY | wire.OUT_BURDEN), ("full", wire.OUT_SUPPLY)],
)
def test_a_lifted_wiper_reaches_the_codes_as_the_circuit_says(build: str, outputs: int, channel: int) -> None:
    """A stream of conversions through lift and return, against the matrix exponential.

    Channel k is converted k times 2 us after channel 0: 500 kS/s round robin.
    """
    start_s, length_s = 9.3e-3, 120e-6
    fault = Fault("loose", track="both", at_s=(start_s,), duration_s=(length_s, length_s))
    world = quiet(replace(STILL, closed_b_v=3.0, open_b_v=3.0, faults=(fault,)), build)
    seen = volts(world, world.raw(20, outputs), channel)
    t_s = (np.arange(seen.size) * wire.CHANNELS + channel) / wire.CONVERSION_HZ
    net, truth = world.networks(outputs)[channel], world.truth(outputs)
    e_v = 0.6 * truth.supply_v
    rest = _reference(net, (1 / 50.0, e_v), np.zeros(3), np.array([1.0]))[0]
    inside = (t_s >= start_s) & (t_s < start_s + length_s)
    after = (t_s >= start_s + length_s) & (t_s < start_s + length_s + 200e-6)
    during = _reference(net, (0.0, 0.0), rest, np.append(t_s[inside] - start_s, length_s))
    back = _reference(net, (1 / 50.0, e_v), during[-1], t_s[after] - start_s - length_s)
    low, high = world.limits()
    offset = world.board.offset_v[channel]
    for found, want in ((seen[inside], during[:-1, 2]), (seen[after], back[:, 2])):
        assert found == pytest.approx(np.clip(want + offset, low, high), abs=4e-3)
    assert seen[inside].min() < 0.6 * rest[2]
    assert seen[~inside & ~after] == pytest.approx(rest[2] + offset, abs=4e-3)


def test_an_open_wiper_is_not_a_jump_to_zero() -> None:
    """Without a burden the node still stands high after 12 us, with it most of the signal is gone."""
    fault = Fault("loose", at_s=(5e-3,), duration_s=(14e-6, 14e-6))
    left = {}
    for outputs in (wire.OUT_SUPPLY, wire.OUT_SUPPLY | wire.OUT_BURDEN):
        world = quiet(replace(STILL, faults=(fault,)))
        seen = volts(world, world.raw(10, outputs))
        left[outputs] = seen.min() / np.median(seen)
    assert left[wire.OUT_SUPPLY] > 0.85
    assert 0.3 < left[wire.OUT_SUPPLY | wire.OUT_BURDEN] < 0.75


def test_a_part_lift_loses_the_share_it_should() -> None:
    fault = Fault("loose", depth=0.4, at_s=(5e-3,), duration_s=(2e-3, 2e-3))
    world = quiet(replace(STILL, faults=(fault,)))
    seen = volts(world, world.raw(10, wire.OUT_SUPPLY | wire.OUT_BURDEN))
    assert seen.min() / np.median(seen[:400]) == pytest.approx(0.6, abs=2e-3)


def test_bias_tells_an_open_wire_from_a_true_zero() -> None:
    opened = replace(STILL, faults=(Fault("open-signal"),))
    grounded = replace(STILL, closed_v=0.0, open_v=0.0)
    level = {}
    for name, spec in (("open", opened), ("grounded", grounded)):
        world = quiet(spec)
        for outputs in (
            wire.OUT_SUPPLY | wire.OUT_BIAS_UP,
            wire.OUT_SUPPLY | wire.OUT_BIAS_DOWN,
            wire.OUT_SUPPLY,
        ):
            level[name, outputs] = float(np.median(volts(world, world.raw(3, outputs))))
    # 2.6 V through 1 Mohm into 462 kohm, or into 308 kohm parallel to 462 kohm: the parts of the full build
    assert level["open", wire.OUT_SUPPLY | wire.OUT_BIAS_UP] == pytest.approx(2.6 * 462 / 1462, abs=0.02)
    assert level["grounded", wire.OUT_SUPPLY | wire.OUT_BIAS_UP] == pytest.approx(
        2.6 * 184.8 / 1184.8, abs=0.02
    )
    assert level["open", wire.OUT_SUPPLY | wire.OUT_BIAS_DOWN] < 0.05


def test_tapped_sees_the_controllers_supply_and_load() -> None:
    spec = replace(STILL, source_ohm=2000.0, controller_ohm=100e3, controller_supply_v=5.1)
    world = World(spec, seed=1)
    world.board = replace(world.board, leak_s=np.zeros((2, 3)))
    truth = world.truth(wire.OUT_TAPPED)
    end = world.front_end
    load = 1 / (1 / 100e3 + 1 / (world.board.r_top_ohm[0] + world.board.r_bottom_ohm[0]))
    assert truth.supply_v == 5.1
    assert truth.closed_v == pytest.approx(0.6 * 5.1 * load / (load + 2000.0), rel=1e-9)
    assert end.input_ohm == pytest.approx(770e3)


def test_parts_lie_within_their_tolerance_and_differ() -> None:
    end, listed = front_end("plain"), parts("plain")
    tops = np.array([draw_board(end, np.random.default_rng(s)).r_top_ohm for s in range(200)])
    relative = tops / end.r_top_ohm - 1
    assert np.abs(relative).max() <= listed["r_top"].tol
    assert relative.std() == pytest.approx(listed["r_top"].tol / np.sqrt(3), rel=0.1)


def test_supply_stops_at_its_current_limit() -> None:
    world = World(replace(STILL, track_ohm=20.0), seed=1)
    assert world.supply_limited(wire.OUT_SUPPLY)
    assert world.supply_v(wire.OUT_SUPPLY) == pytest.approx(20.0 * world.front_end.supply_limit_a)
    assert not World(STILL, seed=1).supply_limited(wire.OUT_SUPPLY)
