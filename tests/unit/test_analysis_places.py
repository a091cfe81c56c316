"""Places count from closed throttle, whichever way the signal runs."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sweeprig.analysis.analyse import analyse
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.volts import to_trace
from sweeprig.frontend import front_end
from sweeprig.twin.capture import capture_of
from sweeprig.twin.sensors import load_sensor
from sweeprig.words import Sense, Starts


@pytest.mark.parametrize("ends", [(0.45, 4.3), (4.55, 0.7)], ids=["rising", "falling"])
def test_a_worn_spot_is_told_in_per_cent_from_closed(ends: tuple[float, float]) -> None:
    spec = load_sensor("worn")
    spec = replace(spec, closed_v=ends[0], open_v=ends[1])
    capture = capture_of(spec, seed=4, seconds=5.0)
    trace = to_trace(capture, calibration=nominal_calibration(capture.rig), front_end=front_end("full"))
    found = analyse(trace, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)
    assert found.sense == ("rising" if ends[1] > ends[0] else "falling")
    worn = next(f for f in found.findings if f.code == "worn-spot")
    assert worn.where_percent is not None
    place = 100 * spec.faults[0].place
    assert abs(sum(worn.where_percent) / 2 - place) < 1.5
    assert found.track_map is not None
    assert abs(int(found.track_map.events.argmax()) + 0.5 - place) < 1.5
