"""The mount of the drive: its drawing is today's, its parts meet, and the magnet turns with the sensor."""

from __future__ import annotations

import math
import re

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


def test_the_magnet_keeps_its_gap_to_the_chip_not_to_the_board() -> None:
    """1 to 2 mm stay over the chip, which stands on its module; spacers leave room for the joints behind it."""
    x, _, wide, _ = _box("magnet")
    board, _, thick, _ = _box("U4")
    assert 1 <= board - drive_mount.CHIP - (x + wide) <= 2
    behind = drive_mount.uprights()["plate of U4"][0] - (board + thick)
    assert behind == pytest.approx(drive_mount.SPACER)
    long = drive_mount.THICK + drive_mount.SPACER + thick + 2.4  # its nut
    assert long <= 16
    assert "four M3 x 16 of nylon with nuts" in _listed()
    assert f"four spacers of plastic, {drive_mount.SPACER:g} mm, for U4" in _listed()
    assert (
        f"magnet {drive_mount.GAP:g} before the chip, which is {drive_mount.CHIP:g} high"
        in drive_mount.drawing()
    )


def _listed() -> str:
    return "; ".join(line.what for line in cost.lines("driven"))


def _overlap(one: drive_mount.Box, other: drive_mount.Box) -> bool:
    return all(one[i] < other[i] + other[i + 2] and other[i] < one[i] + one[i + 2] for i in (0, 1))


def test_each_plate_has_a_foot_and_its_screws_are_bought() -> None:
    """Two screws up, two down at each plate; the angle is as long as all plates are wide."""
    plates = drive_mount.uprights()
    assert len(plates) == 5
    assert set(plates) == set(drive_mount.feet())
    places = [at for name in plates for at in drive_mount.screws(name)]
    count = {20: "twenty"}[2 * len(places)]
    assert f"M3 x 12 screws with nuts and washers, {count}" in _listed()
    long = sum(box[3] for box in drive_mount.feet().values())
    assert long == 280
    leg, thick = drive_mount.LEG, drive_mount.LEG_THICK
    assert f"aluminium angle {leg:g} x {leg:g} x {thick:g} mm, 300 mm" in _listed()
    for size in (
        f"four of {drive_mount.PLATE:g} x {drive_mount.HIGH:g} mm",
        f"one of 40 x {drive_mount.HIGH:g} mm",
    ):
        assert size in _listed()


def test_no_foot_stands_in_another_s_way() -> None:
    flat = [*drive_mount.feet().values(), *drive_mount.uprights().values()]
    for i, one in enumerate(flat):
        assert 0 <= one[0] <= drive_mount.BASE[0] - one[2]
        assert not any(_overlap(one, other) for other in flat[i + 1 :]), one
    for name, (x, y, wide, high) in drive_mount.feet().items():
        assert all(x < a < x + wide and y < b < y + high for a, b in drive_mount.screws(name)), name


def test_the_feet_are_clear_of_what_turns_and_of_m1_s_screws() -> None:
    """All that stands over a foot's upright leg: pulley, bearing, the heads of M1's lower screws."""
    lowest = drive_mount.AXIS - max(drive_mount.PULLEY / 2 + 1, 16 / 2, 31 / 2 + 3)
    assert lowest > drive_mount.LEG
    assert drive_mount.MOTOR[0] / 2 < drive_mount.AXIS


def test_sensor_motor_and_home_switch_have_their_screws() -> None:
    for what in (
        "four M3 x 10 for M1",
        "two M2 x 16 with nuts for S2",
        "two M4 x 20 with nuts for the sensor",
    ):
        assert what in _listed()
    assert "four M3 x 16 of nylon with nuts and four spacers of plastic, 3 mm, for U4" in _listed()


def test_no_iron_of_the_mount_is_within_20_mm_of_the_magnet() -> None:
    """The screws of U4's foot, and the far bearing; M1 is looked at above."""
    at = (drive_mount.SHAFT[1] + 2.5, drive_mount.SHAFT[2], drive_mount.AXIS)
    x, y, _, high = drive_mount.uprights()["plate of U4"]
    for across in (y + drive_mount.EDGE, y + high - drive_mount.EDGE):
        assert math.dist(at, (x, across, drive_mount.HOLE)) > 20
    assert drive_mount.SHAFT[1] - (drive_mount.PLATES[1] + drive_mount.THICK) >= 20


def test_the_pin_presses_the_lever_of_the_home_switch() -> None:
    """Seen from above pin and switch overlap; from the end the pin's top is over the lever, under the body."""
    pin, switch = _box("pin"), _box("S2")
    assert _overlap(pin, switch)
    assert not _overlap(switch, _box("pulley"))
    assert pin[0] + pin[2] < drive_mount.PLATES[1]
    ends = {name: box for box, _, name in drive_mount.end_boxes()}
    x, height, across = next((x, z, d) for x, z, d, name in drive_mount.rounds() if name == "pin")
    lever, body = ends["lever of S2, at rest"], ends["S2"]
    assert lever[0] < x < lever[0] + lever[2]
    assert lever[1] < height + across / 2 < body[1]
    assert height - across / 2 > drive_mount.AXIS + 5 / 2  # the pin stands beside the shaft, not in it
    assert f"pin of brass, {drive_mount.PIN:g} x 12 mm" in _listed()
    assert "bore 5 mm, each with a set screw" in _listed()


def test_the_opening_of_m1_s_plate_lets_its_collar_slide() -> None:
    """As far as the slots let the screws go; behind the flange, apart from the slots; drawn, and as build.md has it."""
    *slots, (x, z, wide, high) = drive_mount.openings()
    assert wide - high >= drive_mount.SLOT - drive_mount.HOLE_M3
    assert wide < drive_mount.MOTOR[0]
    assert not any(_overlap(slot, (x, z, wide, high)) for slot in slots)
    motor_y = drive_mount.SHAFT[2] + drive_mount.apart_mm()
    assert (x + wide / 2, z + high / 2) == pytest.approx((motor_y, drive_mount.AXIS))
    said = f"{high:g} high and {wide:g} long"
    assert said in " ".join((drive_mount.HERE / "build.md").read_text("utf-8").split())
    assert f"opening {high:g} high, {wide:g} long" in drive_mount.drawing()
    assert drive_mount.drawing().count(' rx="') == len(slots) + 1 == 7


def test_the_drawing_says_where_each_plate_stands() -> None:
    text = drive_mount.drawing()
    for name, (x, *_) in drive_mount.uprights().items():
        assert f"{name.removeprefix('plate of ').removeprefix('the ')} {x:g}" in text, name


def test_no_line_of_the_drawing_leaves_the_sheet() -> None:
    """Chromium drew a letter of a long line 5.2 wide on the average; 6.2 has room for other fonts."""
    wide = float(drive_mount.drawing().split('viewBox="-20 -50 ')[1].split()[0]) - 20
    for x, line in re.findall(r'<text x="([-\d.]+)"[^>]*>([^<]*)<', drive_mount.drawing()):
        assert float(x) + 6.2 * len(line) <= wide, line


def test_two_collars_hold_the_shaft_lengthwise() -> None:
    """One on each side of bearing 1, with a washer that touches the inner ring only; bearing 2 lets it slide."""
    collars = [box for box, _, name in drive_mount.boxes() if name.startswith("collar")]
    plate, coupling = _box("bearing plate 1"), _box("stiff coupling")
    assert [box[0] + box[2] for box in collars[:1]] == [plate[0]]
    assert [box[0] for box in collars[1:]] == [plate[0] + plate[2]]
    assert coupling[0] + coupling[2] < collars[0][0]
    assert drive_mount.AXIS - drive_mount.COLLAR[1] / 2 > drive_mount.LEG
    assert not any(_overlap(box, _box("pulley")) for box in collars)
    wide, across = drive_mount.COLLAR
    assert f"two set collars, bore 5 mm, {across:g} mm across, {wide:g} mm wide" in _listed()
    assert "two washers 5 x 8 x 0.5 mm" in _listed()
    assert "collar" in drive_mount.drawing()
    page = " ".join((drive_mount.HERE / "build.md").read_text("utf-8").split())
    assert "Two set collars hold the shaft lengthwise" in page


def test_the_drawing_says_how_high_the_slots_of_s2_are() -> None:
    """The middle of its two upright slots over the base: nobody need scale the sheet."""
    slot = drive_mount.openings()[4]
    assert f"their middle {slot[1] + slot[3] / 2:g} over the base" in drive_mount.drawing()


def test_the_motor_s_shaft_and_the_carrier_s_feet_are_bought() -> None:
    (package,) = (line.package for line in cost.lines("driven") if line.ref == "M1")
    flange = _box("M1")[0]
    assert flange - (_box("pulley")[0] + 1.0) <= 20, "a shaft of 20 mm goes through the pulley but for 1 mm"
    assert "shaft 5 mm, 20 mm or longer" in package
    assert "standoffs M3 x 10 of plastic with screws, four, for A1's carrier" in _listed()


def test_the_drawing_says_what_a_small_flange_leaves_of_the_plate() -> None:
    """Both are round at their ends: from the opening's end to the nearest end of a slot, less both radii."""
    wide, high = drive_mount.OPENING
    half, small = 26 / 2, drive_mount.HOLE_M3 / 2
    slot_end = half - (drive_mount.SLOT / 2 - small)
    left = math.hypot(slot_end - (wide - high) / 2, half) - high / 2 - small
    assert f"35 mm flange: {left:.1f} of plate stay" in drive_mount.drawing()
