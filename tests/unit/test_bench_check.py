"""The connection test against a resistor network solved on its own (tests/sensor_circuit.py)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.sensor_circuit import Wiring, position
from sweeprig.bench.connection.diagnose import diagnose, signal_b
from sweeprig.bench.connection.model import (
    Joint,
    Position,
    WiringFault,
    check_json,
    far_level,
    node_pull,
    source_ohm,
)
from sweeprig.bench.readings.live import Levels
from sweeprig.frontend import front_end
from sweeprig.judge.profile import load_profile
from sweeprig.words import Sense

CLOSED, OPEN = 0.1, 0.88  # places of the wiper on its track
PROFILE = load_profile("adjustable-potentiometer")


def checked(wiring: Wiring, *, build: str = "full", current: bool = True, told: Sense = Sense.UNKNOWN):
    end = front_end(build)
    closed = position(wiring, CLOSED, end, current=current)
    opened = position(wiring, OPEN, end, current=current)
    return diagnose(closed, opened, end=end, profile=PROFILE, given_sense=told)


def faults(check) -> list[WiringFault]:
    return [f.fault for f in check.findings]


@pytest.mark.parametrize("track", [1000.0, 5000.0, 10_000.0])
@pytest.mark.parametrize("build", ["plain", "full"])
def test_right_wiring_is_connected_and_rising(build: str, track: float) -> None:
    check = checked(Wiring(track_ohm=track), build=build)
    assert (check.verdict, check.sense, faults(check)) == ("connected", Sense.RISING, [])


@pytest.mark.parametrize("track", [1000.0, 5000.0, 10_000.0])
def test_swapped_supply_and_ground_reverse_the_sense(track: float) -> None:
    check = checked(Wiring(supply="a", ground="b", track_ohm=track))
    assert (check.verdict, check.sense, faults(check)) == ("connected", Sense.FALLING, [WiringFault.REVERSED])
    assert check.findings[0].severity == "note"
    assert "supply and ground swapped" in check.findings[0].could_be
    told = checked(Wiring(supply="a", ground="b", track_ohm=track), told=Sense.RISING)
    assert told.verdict == "fault"


@pytest.mark.parametrize(
    ("wiring", "expected"),
    [
        (Wiring(signal=None), WiringFault.OPEN_SIGNAL),
        (Wiring(shorts=(("signal", "ground"),)), WiringFault.AT_GROUND),
        (Wiring(shorts=(("signal", "supply"),)), WiringFault.SHORT_TO_SUPPLY),
        (Wiring(ground=None), WiringFault.GROUND_OPEN),
        (Wiring(supply=None), WiringFault.SUPPLY_OPEN),
        (Wiring(supply="w", ground="a", signal="b"), WiringFault.WRONG_PIN),
        (Wiring(supply="a", ground="w", signal="b"), WiringFault.AT_GROUND),
        (Wiring(supply="b", ground="w", signal="a"), WiringFault.AT_GROUND),
    ],
)
@pytest.mark.parametrize("track", [2000.0, 5000.0, 10_000.0])
def test_full_build_tells_each_fault(wiring: Wiring, expected: WiringFault, track: float) -> None:
    check = checked(replace(wiring, track_ohm=track))
    assert check.verdict == "fault"
    assert faults(check) == [expected]
    assert check.sense is Sense.UNKNOWN


def test_open_ground_and_wrong_pin_need_the_supply_current() -> None:
    for wiring in (Wiring(ground=None), Wiring(supply="w", ground="a", signal="b")):
        check = checked(wiring, current=False)
        assert faults(check) == [WiringFault.AT_SUPPLY]
        assert "shows which" in check.findings[0].could_be


def test_plain_build_cannot_tell_open_lead_from_short() -> None:
    for wiring in (Wiring(signal=None), Wiring(shorts=(("signal", "ground"),))):
        check = checked(wiring, build="plain")
        assert faults(check) == [WiringFault.AT_GROUND]
        assert check.joint is Joint.NOT_TESTED
        assert "signal lead open" in check.findings[0].could_be
        assert "full or driven build" in check.findings[0].could_be


def test_lever_that_moves_nothing_does_not_follow() -> None:
    end = front_end("full")
    still = position(Wiring(), 0.4, end, current=True)
    check = diagnose(still, still, end=end, profile=PROFILE)
    assert faults(check) == [WiringFault.NOT_FOLLOWING]
    assert check.joint is Joint.CONNECTED


def test_low_signal_that_does_not_move_is_not_called_a_short() -> None:
    end = front_end("full")
    low = position(Wiring(), 0.03, end, current=True)
    assert faults(diagnose(low, low, end=end, profile=PROFILE)) == [WiringFault.NOT_FOLLOWING]


def test_converter_offset_is_taken_off_before_ground_is_judged() -> None:
    end = front_end("full")
    short = position(Wiring(shorts=(("signal", "ground"),)), CLOSED, end, current=True)
    shifted = Position(*(_up(lv, 0.03) for lv in (short.on, short.bare, short.up)), zero_v=0.03)  # type: ignore[arg-type]
    assert faults(diagnose(shifted, shifted, end=end, profile=PROFILE)) == [WiringFault.AT_GROUND]


def _up(levels: Levels | None, volts: float) -> Levels | None:
    return None if levels is None else replace(levels, signal_v=levels.signal_v + volts)


def test_overload_at_one_lever_position_only_is_a_wrong_pin() -> None:
    end = front_end("full")
    closed = position(Wiring(supply="w", ground="a", signal="b"), CLOSED, end, current=True)
    cut = replace(closed.on, supply_v=0.2, flags_any=0x0010)
    check = diagnose(closed, Position(cut), end=end, profile=PROFILE)
    assert faults(check) == [WiringFault.WRONG_PIN]
    assert "open throttle only" in check.findings[0].evidence


@pytest.mark.parametrize(
    ("supply_v", "expected"), [(0.1, WiringFault.SUPPLY_SHORT), (2.5, WiringFault.SUPPLY_OVERLOAD)]
)
def test_overload_everywhere_is_a_short_or_an_overload(supply_v: float, expected: WiringFault) -> None:
    end = front_end("full")
    on = replace(position(Wiring(), CLOSED, end, current=True).on, supply_v=supply_v, flags_any=0x0010)
    check = diagnose(Position(on), Position(on), end=end, profile=PROFILE)
    assert faults(check) == [expected]


def test_low_supply_without_limiting_is_its_own_fault() -> None:
    end = front_end("full")
    place = position(Wiring(), CLOSED, end, current=True)
    low = replace(place, on=replace(place.on, supply_v=3.9))
    assert faults(diagnose(low, low, end=end, profile=PROFILE)) == [WiringFault.SUPPLY_LOW]


def test_one_position_alone_is_undecided() -> None:
    end = front_end("full")
    check = diagnose(position(Wiring(), CLOSED, end, current=True), None, end=end, profile=PROFILE)
    assert (check.verdict, check.sense) == ("undecided", Sense.UNKNOWN)


def test_bias_that_does_not_act_is_not_taken_for_a_good_joint() -> None:
    end = front_end("full")
    short = position(Wiring(shorts=(("signal", "ground"),)), CLOSED, end, current=True)
    dead = replace(short, up=short.bare)
    check = diagnose(dead, dead, end=end, profile=PROFILE)
    assert check.joint is Joint.NO_BIAS
    assert "signal lead open" in check.findings[0].could_be


def test_node_pull_by_hand() -> None:
    """R2/(Rb + R2) and (R1||R2)/(Rb + R1||R2) worked out by hand for 308 k, 462 k and 1 M."""
    end = front_end("full")
    assert node_pull(end, is_open=True) == pytest.approx(462 / 1462, rel=1e-6)
    assert node_pull(end, is_open=False) == pytest.approx(184.8 / 1184.8, rel=1e-6)
    assert node_pull(front_end("plain"), is_open=True) == 0.0


def test_source_resistance_comes_out_of_the_burden() -> None:
    end = front_end("full")
    place = position(Wiring(ground=None, track_ohm=5000.0), CLOSED, end, current=True)
    assert source_ohm(place, end) == pytest.approx(4500.0, rel=0.02)  # 0.9 of the track


def test_far_level_keeps_out_a_spike() -> None:
    mean = np.concatenate([np.full(300, 0.5), np.linspace(0.5, 4.0, 300), np.full(400, 4.0)])
    mean[150] = 0.0
    mean[700] = 5.0
    assert far_level(mean, from_v=0.5, window_s=1e-3) == pytest.approx(4.0)
    assert far_level(mean[:5], from_v=0.5, window_s=1e-3) == pytest.approx(0.5)


def test_signal_b_is_judged_by_itself() -> None:
    end = front_end("full")
    place = position(Wiring(), CLOSED, end, current=True)
    assert signal_b(place) is None
    both = Position(*(replace(lv, signal_b_v=1.25) for lv in (place.on, place.bare, place.up)))  # type: ignore[type-var,arg-type]
    moved = signal_b(both)
    assert moved is not None
    assert moved.on.signal_v == 1.25


def test_json_names_the_worst_of_both_tracks() -> None:
    good, bad = checked(Wiring()), checked(Wiring(signal=None))
    out = check_json({"signal A": good, "signal B": bad}, hookup="powered", reach="x")
    assert out["verdict"] == "fault"
    assert out["tracks"]["signal B"]["findings"][0]["code"] == "open-signal"
