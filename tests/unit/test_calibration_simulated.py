"""A whole calibration on a simulated rig: the board's own firmware, a meter that errs, then true voltages read back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from support.bench_meter import BenchMeter
from support.board_port import BoardPort
from sweeprig.bench.calibration.calibrate import CalibrationOrder, make_calibration
from sweeprig.bench.calibration.points import Measured, calibration_hookup, measure, parse_meter
from sweeprig.bench.calibration.verify import check_standard
from sweeprig.calibration.model import Calibration
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.link.client import RigClient
from sweeprig.twin.feed import Feed
from sweeprig.twin.machines import InProcess
from sweeprig.twin.sensors import stiff
from sweeprig.twin.sim_url import SimOptions
from sweeprig.twin.simulated import identity
from sweeprig.twin.world import World

VOLTS = (0.2, 1.35, 2.5, 3.65, 4.8)
METER = parse_meter("0.05%+3", count_v=1e-4, range_v=6.0)


class Bench(BoardPort):
    """A simulated rig whose leads lie on one voltage, a port of it, and a meter beside it."""

    def __init__(self, *, chip: str, build: str, seed: int) -> None:
        self.now_v = 2.5
        self._rig = World("good", seed=seed, build=build, chip=chip)
        self._feed = Feed(lambda n: self._rig.like(stiff(self.now_v), seed=n), None)
        options = SimOptions("good", board=build, chip=chip, seed=seed)
        super().__init__(InProcess(self._feed, identity(options)))
        self._meter = BenchMeter(METER, seed=seed)

    def point(self, client: RigClient, volts: float, *, seconds: float = 0.3) -> Measured:
        self.now_v = volts
        point = measure(client, hookup=calibration_hookup(client), seconds=seconds)
        return replace(point, reading_v=self._meter.read(volts))


@pytest.fixture(params=[("rp2040", "full"), ("rp2350", "full"), ("rp2040", "plain")], ids="-".join)
def bench(request: pytest.FixtureRequest) -> Iterator[tuple[Bench, RigClient]]:
    chip, build = request.param
    found = Bench(chip=chip, build=build, seed=11)
    client = RigClient(found)
    client.hello()
    yield found, client
    client.close()


def errors(bench: Bench, client: RigClient, calibration: Calibration) -> list[tuple[float, float]]:
    """(error, U) of signal A at voltages between the points [V]."""
    out = []
    for volts in (0.5, 0.9, 2.1, 4.2):
        bench.now_v = volts
        point = measure(client, hookup=calibration_hookup(client), seconds=0.3)
        v = check_standard(point, calibration, client.hello(), reference_v=volts, u95_reference_v=0.0)[0]
        out.append((v.shown_v - volts, v.u95_shown_v))
    return out


def test_a_calibrated_rig_reads_true_within_what_it_says(bench: tuple[Bench, RigClient]):
    source, client = bench
    points = [source.point(client, v) for v in VOLTS]
    done = make_calibration(points, CalibrationOrder(METER), client.hello())
    assert done.not_connected == ()
    assert (done.calibration.monitor is not None) == ("monitor" in client.hello()["capabilities"])
    found = errors(source, client, done.calibration)
    assert max(abs(e) for e, _ in found) < 4.5e-3
    assert all(abs(e) <= u for e, u in found)
    points_v = np.array([p for _, p in done.calibration.channels[0].points])
    before = nominal_calibration(client.hello()).channels[0]
    nominal = [before.line.offset_v + before.line.gain_v * c for c, _ in done.calibration.channels[0].points]
    assert np.abs(np.array(nominal) - points_v).max() > 4.5e-3  # it was not true before


@pytest.mark.parametrize("bench", [("rp2040", "full")], indirect=True, ids=["rp2040-full"])
def test_the_monitor_calibrates_after_its_own_calibration(bench: tuple[Bench, RigClient]):
    source, client = bench
    first = make_calibration(
        [source.point(client, v) for v in VOLTS], CalibrationOrder(METER), client.hello()
    ).calibration
    many = [source.point(client, v, seconds=0.2) for v in np.linspace(0.2, 4.8, 20)]
    done = make_calibration(many, CalibrationOrder(None, reference="monitor"), client.hello(), before=first)
    found = errors(source, client, done.calibration)
    assert max(abs(e) for e, _ in found) < 3e-3
    assert all(abs(e) <= u for e, u in found)
