"""The mount of the drive: its drawing is today's, its parts meet, and the magnet turns with the sensor."""

from __future__ import annotations

import math

import pytest
from hardware import cost, drive_mount


def _box(name: str) -> drive_mount.Box:
    return next(box for box, _, what in drive_mount.boxes() if what == name)


def test_the_kept_drawing_is_today_s() -> None:
    kept = (drive_mount.HERE / "drive.svg").read_text("utf-8")
    assert kept == drive_mount.drawing(), "run python -m hardware.drive_mount"


def test_the_belt_goes_around_both_pulleys() -> None:
    """Twice the distance and once around a pulley is the belt as it sits."""
    around = 2 * drive_mount.apart_mm() + math.pi * drive_mount.PULLEY
    assert around == pytest.approx(drive_mount.BELT * 1.06)
    listed = " ".join(line.what for line in cost.lines("driven"))
    assert (
        f"round belt, 3 mm, {drive_mount.BELT:g} mm around, and two pulleys of {drive_mount.PULLEY:g} mm"
        in listed
    )


def test_everything_stands_on_the_base_and_in_reach() -> None:
    wide, high = drive_mount.BASE
    for (x, y, across, down), _, name in drive_mount.boxes():
        assert x >= 0, name
        assert y >= 0, name
        assert x + across <= wide, name
        assert y + down <= high, name
    flange = _box("M1")[0]
    assert flange - _box("pulley")[0] <= 22  # a motor's shaft is 20 to 24 mm long
    left, right, _ = drive_mount.SHAFT
    assert f"shaft, 5 x {right - left:g} mm" in " ".join(line.what for line in cost.lines("driven"))


def test_the_magnet_is_on_the_sensor_s_shaft_far_from_the_motor() -> None:
    x, y, _, down = _box("magnet")
    assert x == drive_mount.SHAFT[1]
    assert y + down / 2 == drive_mount.SHAFT[2]
    motor = _box("M1")
    assert motor[1] - (y + down) > 50
    assert _box("U4")[0] - (x + 2.5) == pytest.approx(drive_mount.GAP)
