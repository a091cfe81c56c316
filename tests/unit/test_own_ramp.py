"""The rig's own ramp: its filter, what of it a histogram shows, and the whole way through the board's firmware."""

from __future__ import annotations

import ast
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from support.board_port import BoardPort
from support.fake_rig import FakeRig
from sweepboard import wire
from sweeprig.bench.calibration.own_ramp import LEAST_S, count_own_ramp, has_ramp, jumper_at_ramp
from sweeprig.bench.calibration.ramp import without_rests
from sweeprig.calibration.density import density_linearity, departures_left, ramp_density
from sweeprig.errors import BoardRefusedError, BoardSilentError, CalibrationError
from sweeprig.frontend.tables import parts, table
from sweeprig.link.client import RigClient
from sweeprig.link.messages import RECORD
from sweeprig.twin.own_ramp import PWM_HZ, RampFilter, ripple_v
from sweeprig.twin.sim_url import SimOptions
from sweeprig.twin.simulated import make_world, switch_on

ROOT = Path(__file__).parents[2]
TAU_S = parts("full")["r_ramp"].value * parts("full")["c_ramp"].value
STEP_S = 6e-6  # between two conversions of one channel
SERVICE_S = 0.005  # between two steps of the duty while streaming: STREAMING_MS of the service and its work


class SimPort(BoardPort):
    """A simulated rig as the client's transport, and as its clock: the time of the world."""

    def __init__(self, **options: Any) -> None:
        board, self.feed = switch_on(SimOptions("good", pace="fast", vm="cpython", **options))
        super().__init__(board)


def client(**options: Any) -> RigClient:
    rig = RigClient(SimPort(**options))
    rig.hello()
    return rig


def density_of(seconds: float, *, every_s: float = SERVICE_S, tau_s: float = TAU_S) -> tuple[float, float]:
    """Return the largest DNL and INL [LSB] that an ideal converter without noise shows of the ramp."""
    ramp, counts = RampFilter(swing_v=3.33, tau_s=tau_s), np.zeros(4096, np.int64)
    times = np.arange(round(every_s / STEP_S)) * STEP_S
    for i in range(round(seconds / every_s)):
        x = 2 * i * every_s / seconds
        ramp.duty = int(65535 * min(x, 2 - x)) / 65535
        volts = np.clip(ramp.draw(times, times.size * STEP_S), 0.015, 3.285)
        counts += np.bincount((volts / 3.3 * 4096).astype(int), minlength=4096)
    density = ramp_density(without_rests(counts))
    level = np.append(0.0, np.cumsum(density.width_lsb))
    edges = np.append(density.code[0] - 0.5, density.code + 0.5)
    line = np.polyval(np.polyfit(level, edges, 1), level)
    return float(np.abs(density.dnl_lsb).max()), float(np.abs(edges - line).max())


def test_the_filter_is_two_loaded_stages_of_r_and_c() -> None:
    """Against scipy's integration of the two equations, for a step from rest."""
    ramp = RampFilter(swing_v=3.3, tau_s=TAU_S)
    ramp.duty = 1.0
    times = np.linspace(0, 0.2, 50)
    ours = ramp.draw(times, 0.2)
    known = solve_ivp(
        lambda _, v: [(3.3 - 2 * v[0] + v[1]) / TAU_S, (v[0] - v[1]) / TAU_S],
        (0, 0.2), [0, 0], t_eval=times, rtol=1e-9, atol=1e-9,
    ).y[1]  # fmt: skip
    assert ours == pytest.approx(known, abs=1e-6)
    again = ramp.draw(np.zeros(1), STEP_S)[0]
    assert again == pytest.approx(known[-1], abs=1e-6)


def test_ripple_is_far_below_a_code_as_with_switched_input() -> None:
    """The square wave itself, integrated until it is periodic."""
    ours = ripple_v(0.5, swing_v=3.3, tau_s=TAU_S)
    assert ours < 0.05 * 3.3 / 4096
    n, v1, v2, last = 200, 1.65, 1.65, []
    for k in range(400 * n):
        high = 3.3 if (k % n) < n // 2 else 0.0
        dt = 1 / PWM_HZ / n / TAU_S
        v1, v2 = v1 + dt * (high - 2 * v1 + v2), v2 + dt * (v1 - v2)
        last.append(v2)
    assert (max(last[-n:]) - min(last[-n:])) / 2 == pytest.approx(ours, rel=0.1)


def test_a_histogram_does_not_show_the_steps_of_the_duty() -> None:
    dnl, inl = density_of(60.0)
    assert dnl < 0.05
    assert inl < 0.1


def test_shortest_ramp_is_straight_as_claimed_a_quick_one_is_not() -> None:
    claimed_lsb = 0.01 / 100 * 4096  # the default of --linearity, half-width
    assert density_of(LEAST_S)[1] < claimed_lsb
    assert density_of(10.0)[1] > claimed_lsb


def test_with_no_filter_to_speak_of_the_steps_would_show() -> None:
    """The ripple then is tens of codes."""
    assert ripple_v(0.5, swing_v=3.3, tau_s=TAU_S / 40) > 10 * 3.3 / 4096
    assert density_of(60.0, tau_s=TAU_S / 40)[1] > 3 * density_of(60.0)[1]


def test_current_from_the_pin_and_leakage_through_the_filter() -> None:
    listed = parts("full")
    ohm = listed["r_ramp"].value
    assert 3.3 / ohm < 1e-3  # a pad drives 2 mA at its weakest setting (RP2040 datasheet, from memory)
    assert (
        2 * ohm * listed["buffer"].more["bias_a"] * 2**2.5 < 0.1 * table()["adc"]["vref_v"] / 4096
    )  # at 50 C


def test_the_twin_has_the_firmware_s_frequency() -> None:
    text = (ROOT / "firmware/sweepboard/rp2_switches.py").read_text()
    (value,) = [
        node.value.args[0].value
        for node in ast.parse(text).body
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "RAMP_HZ"
    ]
    assert value == PWM_HZ


def test_only_a_jumper_at_ramp_lets_signal_a_follow() -> None:
    assert has_ramp(client())
    assert not has_ramp(client(board="plain"))
    assert jumper_at_ramp(client(jumper="ramp"))
    assert not jumper_at_ramp(client())


def test_what_cannot_work_is_refused_before_the_count() -> None:
    with pytest.raises(CalibrationError, match="does not reach"):
        count_own_ramp(client(), seconds=60)
    with pytest.raises(CalibrationError, match="too fast"):
        count_own_ramp(client(jumper="ramp"), seconds=10)
    with pytest.raises(BoardRefusedError):
        jumper_at_ramp(client(board="plain", jumper="ramp"))


def test_the_rig_s_own_ramp_finds_its_converter_s_true_bends() -> None:
    """Through firmware and histogram; the truth is the simulated converter's own levels."""
    options = {"jumper": "ramp", "seed": 5}
    counts = count_own_ramp(client(**options), seconds=LEAST_S)
    linearity = density_linearity(ramp_density(without_rests(counts)))
    levels = make_world(SimOptions("good", seed=5)).converter.levels
    widths = np.rint(1e4 * np.diff(levels)).astype(np.int64)[100:-100]  # of codes 101 to 3994
    true = ramp_density(np.concatenate([[1], widths, [1]]), first_code=100)
    edges = np.append(true.code[0] - 0.5, true.code + 0.5)[10:-10]
    raw = np.abs(
        departures_left(edges, type(linearity)(np.array([0.0, 4096.0]), np.zeros(2), 0.0, "nominal"), true)
    )
    left = np.abs(departures_left(edges, linearity, true))
    assert raw.max() > 3.0
    assert left.max() < 0.25 * raw.max()
    assert np.sqrt(np.mean(left**2)) < 0.3


class NoData(FakeRig):
    """A ramp in which the converter calls conversions bad: all from record `good` on, which jump."""

    def __init__(self, good: int) -> None:
        super().__init__(capabilities=["supply-switch", "ramp"])
        self._good = good

    def send(self, kind: int, payload: bytes, index: int = 0) -> None:
        if kind == wire.RECORDS:
            rows = np.frombuffer(payload, RECORD).copy()
            bad = index + np.arange(rows.size) >= self._good
            rows["flags"][bad] |= wire.FLAG_CONVERSION_ERROR
            rows["channels"]["sum"][~bad] = 1000 * wire.WINDOW
            payload = rows.tobytes()
        super().send(kind, payload, index)


def test_records_called_bad_are_no_ramp() -> None:
    rig = NoData(good=400)
    assert jumper_at_ramp(RigClient(rig, clock=rig.clock)) is False
    rig = NoData(good=0)
    with pytest.raises(BoardSilentError, match="marks all readings as bad"):
        jumper_at_ramp(RigClient(rig, clock=rig.clock))
