"""A calibration from the operator's readings to the stored file."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from support.source_rig import GAIN, METER, NODE, NOW, RIG, ZERO, SourceRig, client_of, made, taken
from sweeprig.bench.calibration.calibrate import CalibrationOrder, make_calibration, take_with_monitor
from sweeprig.bench.calibration.points import (
    calibration_hookup,
    measure,
    parse_meter,
    parse_reading,
    read_points,
    write_points,
)
from sweeprig.calibration.store import calibration_to_dict, load_calibration, save_calibration
from sweeprig.errors import CalibrationError, InputError, SweeprigError


def test_a_point_is_measured_with_supply_off_and_nothing_fed():
    rig = SourceRig(iter([1.35]), capabilities=["supply-switch", "monitor"])
    client = client_of(rig)
    point = measure(client, hookup=calibration_hookup(client), seconds=0.3)
    assert point.codes == pytest.approx([1.35 / GAIN + ZERO] * 3, abs=0.01)
    assert point.node_v == pytest.approx(0.6 * 1.35, abs=1e-6)
    assert point.temperature_c == pytest.approx(24.5)
    assert point.steady
    assert not any(c["cmd"] == "supply" and c["on"] for c in rig.commands)
    assert next(c for c in rig.commands if c["cmd"] == "start")["hookup"] == "tapped"


def test_a_plain_rig_is_calibrated_powered_with_supply_off():
    rig = SourceRig(iter([1.35]), hookups=["powered"], capabilities=["supply-switch"])
    client = client_of(rig)
    measure(client, hookup=calibration_hookup(client), seconds=0.2)
    assert {"cmd": "supply", "on": False} in [{k: c[k] for k in c if k != "id"} for c in rig.commands]


def test_a_moving_voltage_is_not_steady():
    rig = SourceRig(iter([1.35]), capabilities=[])
    rig.drift_lsb = 0.5
    client = client_of(rig)
    assert not measure(client, hookup=calibration_hookup(client), seconds=0.3).steady


def test_a_calibration_reads_true_and_says_who_made_it():
    done = made()
    calibration = done.calibration
    assert calibration.channels[0].line.gain_v == pytest.approx(GAIN, rel=1e-6)
    assert calibration.operator == "A. Nobody"
    assert calibration.meter == METER
    assert calibration.temperature_c == pytest.approx(24.5)
    assert calibration.smps_mode == "pwm"
    assert calibration.monitor.line.gain_v == pytest.approx(1 / NODE, rel=1e-6)
    assert done.not_connected == ()


def test_a_channel_that_does_not_follow_stays_nominal():
    points = [replace(p, codes=(p.codes[0], 30.0, p.codes[2])) for p in taken()]
    done = made(points)
    assert done.not_connected == ("signal B",)
    assert done.calibration.channels[1].points == ()
    assert done.calibration.channels[2].points


def test_a_second_calibration_shows_what_was_found_before_it():
    first = made().calibration
    drifted = [replace(p, codes=tuple(c * 1.002 for c in p.codes)) for p in taken()]
    second = made(drifted, before=first)
    assert second.found[-1].as_found_v == pytest.approx(4.8 * 0.002, abs=1e-3)
    assert abs(second.found[-1].as_left_v) < 1e-4


def test_calibrated_monitor_takes_the_operators_place():
    first = made().calibration
    bent = [replace(p, reading_v=None) for p in taken(tuple(0.25 + 0.19 * k for k in range(24)))]
    done = make_calibration(
        bent, CalibrationOrder(None, reference="monitor"), RIG, before=first, now=lambda: NOW
    )
    assert done.calibration.reference == "monitor"
    assert done.calibration.meter == METER
    assert done.calibration.channels[0].line.gain_v == pytest.approx(GAIN, rel=1e-4)
    with pytest.raises(CalibrationError, match="is not calibrated"):
        make_calibration(bent, CalibrationOrder(None, reference="monitor"), RIG, before=None)


def test_points_with_the_monitor_are_kept_when_steady_and_new():
    steps = iter([0.3, 0.31, 1.4, 1.4, 2.5, 3.6, 4.7])
    rig = SourceRig(steps, capabilities=["monitor"])
    said: list[str] = []
    kept = take_with_monitor(
        client_of(rig), n=5, stop=lambda: False, said=said.append, before=made().calibration, tries=10
    )
    assert [round(p.reading_v, 1) for p in kept] == [0.3, 1.4, 2.5, 3.6, 4.7]
    assert len(said) == 5


def test_points_survive_a_file(tmp_path: Path):
    points = taken()
    again = read_points(write_points(tmp_path / "p.csv", points))
    assert [p.reading_v for p in again] == [p.reading_v for p in points]
    assert again[2].codes == pytest.approx(points[2].codes, abs=1e-4)
    assert again[2].node_v == pytest.approx(points[2].node_v)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a,b\n1,2\n", "no points"),
        ("reading_v,code_a\n1.0,x\n", "line 2"),
        ("reading_v,code_a\n,7\n", "line 2"),
    ],
)
def test_a_bad_points_file_is_named_with_its_line(tmp_path: Path, text: str, said: str):
    file = tmp_path / "p.csv"
    file.write_text(text)
    with pytest.raises(CalibrationError, match=said):
        read_points(file)


def test_points_with_a_column_given_twice_are_refused(tmp_path: Path) -> None:
    file = tmp_path / "p.csv"
    file.write_text("reading_v,code_a,code_b,code_supply,code_a\n0.5,600,600,600,3000\n", encoding="utf-8")
    with pytest.raises(CalibrationError, match="more than one column named code_a"):
        read_points(file)


@pytest.mark.parametrize(
    ("text", "percent", "counts"), [("0.05%+3", 0.05, 3), ("0,5 % + 2", 0.5, 2), ("0.1%", 0.1, 0)]
)
def test_a_meters_accuracy_is_read_as_makers_state_it(text: str, percent: float, counts: float):
    meter = parse_meter(text, count_v=1e-3, range_v=6.0)
    assert (meter.percent_of_reading, meter.counts) == (percent, counts)


@pytest.mark.parametrize("text", ["", "3 counts", "50%+3", "0.05%+-3", "0.05"])
def test_an_accuracy_that_is_not_understood_is_refused(text: str):
    with pytest.raises(InputError):
        parse_meter(text, count_v=1e-3, range_v=6.0)


def test_readings_as_typed():
    assert parse_reading("2,5012", range_v=6) == 2.5012
    assert parse_reading(" 450.2 mV", range_v=6) == pytest.approx(0.4502)
    for bad in ("", "two", "12", "-0.1", "nan", "inf"):
        with pytest.raises(InputError):
            parse_reading(bad, range_v=6)


def test_a_calibration_survives_its_file_and_keeps_the_last(tmp_path: Path):
    calibration = made().calibration
    file = save_calibration(calibration, folder=tmp_path)
    again = load_calibration("00ff", folder=tmp_path)
    assert calibration_to_dict(again) == calibration_to_dict(calibration)
    json.loads(file.read_text(), parse_constant=pytest.fail)  # no NaN or infinity in it
    save_calibration(replace(calibration, notes="second"), folder=tmp_path)
    assert [p.name for p in (tmp_path / "before").iterdir()] == ["00ff-20260504080000.json"]
    assert load_calibration("00ff", folder=tmp_path).notes == "second"
    assert load_calibration("another", folder=tmp_path) is None


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"format": "sweeprig-calibration", "version": 1}', '{"format": "x"}']
)
def test_a_damaged_calibration_is_said_not_crashed_on(tmp_path: Path, text: str):
    (tmp_path / "00ff.json").write_text(text)
    with pytest.raises(SweeprigError) as caught:
        load_calibration("00ff", folder=tmp_path)
    assert "sweeprig calibrate" in str(caught.value)
