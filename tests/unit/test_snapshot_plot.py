"""A snapshot's drawing: its height is the signal's; a steady supply is said and not drawn."""

from __future__ import annotations

import numpy as np
import pytest

from sweeprig.capture.model import FloatArray
from sweeprig.link.messages import Snapshot
from sweeprig.report.snapshot_plot import snapshot_svg


def drawing(supply: FloatArray, *, triggered: int = 0) -> str:
    signal = np.where(np.arange(40) < 20, 1000, 0)
    codes = np.zeros(120, dtype=np.uint16)
    codes[0::3], codes[1::3], codes[2::3] = signal, 0, supply
    shot = Snapshot(index=0, channel=triggered, channels=3, first=0, trigger=60, codes=codes)
    return str(
        snapshot_svg(
            shot,
            conversion_hz=500e3,
            shown=(0, 2),
            volts=lambda _channel, c: c / 1000,
            width=340,
            height=170,
            name="s",
        )
    )


def test_a_steady_supply_is_said_and_leaves_the_height() -> None:
    svg = drawing(np.full(40, 5010.0))
    assert "supply 5.01 V, steady" in svg
    assert ">1<" in svg
    assert ">5<" not in svg
    assert ">4<" not in svg


@pytest.mark.parametrize("fall", [200.0, 4000.0])
def test_a_supply_that_moves_is_drawn(fall: float) -> None:
    svg = drawing(np.where(np.arange(40) < 20, 5010.0, 5010.0 - fall))
    assert "steady" not in svg
    assert ">4<" in svg


def test_the_channel_that_triggered_is_always_drawn() -> None:
    assert "steady" not in drawing(np.full(40, 5010.0), triggered=2)
