"""How well a build measures: ngspice agrees with one equation each, and published limits hold."""

from __future__ import annotations

import math

import pytest
from hardware import netlist, quality
from hardware.compare_quality import quality_rows

from sweeprig.frontend import front_end


@pytest.mark.ngspice
@pytest.mark.parametrize("build", ["plain", "full"])
def test_noise_settling_ripple_and_crosstalk_agree(build: str) -> None:
    rows = quality_rows(build)
    assert [r.name for r in rows if not r.agrees] == []
    assert [r.name for r in rows if r.kept is False] == []
    said = " ".join(r.name for r in rows)
    for what in ("settling", "noise", "ripple of the 3.3 V rail", "crosstalk at 500 kS/s"):
        assert what in said


@pytest.mark.ngspice
def test_a_wrong_pin_capacitor_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    right = netlist.channel
    monkeypatch.setattr(
        netlist, "channel", lambda build: right(build).replace("Cpin pin 0 4", "Cpin pin 0 2")
    )
    failed = " ".join(r.name for r in quality_rows("full") if not r.agrees)
    assert "crosstalk" in failed
    assert "noise" in failed


def test_noise_of_a_capacitor_at_room_temperature() -> None:
    """Thermal noise on 1 pF is 64 uV (textbooks on sampling, from memory)."""
    assert math.sqrt(quality.KT / 1e-12) == pytest.approx(64e-6, rel=0.01)


def test_two_metres_on_a_10_kohm_track_settle_in_a_stroke() -> None:
    """A stroke of 0.4 s has thousands of such times; and 12 bits take at least ln(2 * 4096) of the slowest RC."""
    for build in ("plain", "full"):
        end = front_end(build)
        slowest = quality.node_ohm(end) * end.c_f
        assert math.log(2 * 4096) * slowest < quality.settling_s(build) < 1e-4


def test_crosstalk_is_the_mean_charge_s_within_a_factor() -> None:
    """The budget takes the mean of the current; the bound is of the moment after the charge: up to 1.7 times."""
    for build in ("plain", "full"):
        end = front_end(build)
        mean = end.memory_at_sensor_v(step_v=5.0 * end.divider_ratio, conversion_hz=5e5, channels=3)
        assert 1.0 < quality.crosstalk_v(build) / (mean * end.divider_ratio) < 3.0
