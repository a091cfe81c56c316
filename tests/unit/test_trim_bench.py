"""A trim from the operator's readings to the stored file, its check standard, and what the commands print."""

from __future__ import annotations

import json
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from fake_rig import FakeRig
from sweepboard import wire
from sweeprig.bench import trim_verify as tv
from sweeprig.bench.places import find_places
from sweeprig.bench.trim import TrimOrder, make_trim, take_with_monitor
from sweeprig.bench.trim_points import (
    Measured,
    measure,
    parse_meter,
    parse_reading,
    read_points,
    trim_hookup,
    write_points,
)
from sweeprig.bench.trim_ramp import straighten, without_rests
from sweeprig.bench.trim_text import drawn, trim_lines
from sweeprig.cli.main import app
from sweeprig.errors import InputError, SweeprigError, TrimError
from sweeprig.link.client import RigClient
from sweeprig.trim.store import load_trim, save_trim, trim_from_dict, trim_to_dict

GAIN, ZERO, NODE = 1.335e-3, 15.0, 0.6
RIG = {"uid": "00ff", "build": "full", "chip": "rp2350", "smps": "pwm"}
METER = parse_meter("0.05%+3", count_v=1e-4, range_v=6.0, serial="M1")
VOLTS = (0.2, 1.35, 2.5, 3.65, 4.8)
NOW = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)


class SourceRig(FakeRig):
    """All leads on one voltage; `volts` yields it anew at each start. Codes are whole, half of them one higher."""

    def __init__(self, volts: Iterator[float] | None = None, **more) -> None:
        super().__init__(chip="rp2350", smps="pwm", **more)
        self.volts = volts or iter(VOLTS)
        self.now_v = 2.5
        self.drift_lsb = 0.0  # in each packet
        self.gain = GAIN

    def _obey(self, name, command):
        if name == "histogram":
            self.send_counts(command)
        if name == "start":
            self.now_v = next(self.volts, self.now_v)
        super()._obey(name, command)

    def send_counts(self, command):
        self._reply(command)
        counts = counts_of("rp2350").astype("<u4")
        for first in range(0, 4096, 512):
            head = struct.pack(wire.HISTOGRAM_FORMAT, command["channel"], 0, first, command["windows"])
            self.send(wire.HISTOGRAM, head + counts[first : first + 512].tobytes())

    def _next_packet(self):
        code = self.now_v / self.gain + ZERO + self.drift_lsb * self._packet
        total, low = round(code * wire.WINDOW), int(code)
        one = [v for _ in range(3) for v in (total, max(low - 2, 0), low + 3)]
        record = struct.pack(wire.RECORD_FORMAT, *one, wire.NO_POSITION, 0)
        self.send(wire.RECORDS, record * wire.RECORDS_PER_PACKET, self._index)
        if "monitor" in self.hello["capabilities"]:
            value = round(self.now_v * NODE * 1e6)
            slow = struct.pack(wire.SLOW_FORMAT, wire.SLOW_SIGNAL_A, 0, 0, value)
            warm = struct.pack(wire.SLOW_FORMAT, wire.SLOW_TEMPERATURE, 0, 0, 24500)
            self.send(wire.SLOW, slow + warm, self._index)
        self._index += wire.RECORDS_PER_PACKET
        self._packet += 1
        self.clock.now += wire.RECORDS_PER_PACKET * wire.WINDOW * wire.CHANNELS / wire.CONVERSION_HZ


def client_of(rig: FakeRig) -> RigClient:
    return RigClient(rig, clock=rig.clock)


def taken(volts: tuple[float, ...] = VOLTS) -> list[Measured]:
    codes = [(v / GAIN + ZERO,) * 3 for v in volts]
    return [
        Measured(c, (0.02,) * 3, (0.8,) * 3, (0.0,) * 3, node_v=NODE * v, temperature_c=24.5, reading_v=v)
        for c, v in zip(codes, volts, strict=True)
    ]


def made(points: list[Measured] | None = None, **more):
    return make_trim(points or taken(), TrimOrder(METER, operator="A. Nobody"), RIG, now=lambda: NOW, **more)


def test_a_point_is_measured_with_the_supply_off_and_nothing_fed_in():
    rig = SourceRig(iter([1.35]), capabilities=["supply-switch", "monitor"])
    client = client_of(rig)
    point = measure(client, hookup=trim_hookup(client), seconds=0.3)
    assert point.codes == pytest.approx([1.35 / GAIN + ZERO] * 3, abs=0.01)
    assert point.node_v == pytest.approx(0.6 * 1.35, abs=1e-6)
    assert point.temperature_c == pytest.approx(24.5)
    assert point.steady
    assert not any(c["cmd"] == "supply" and c["on"] for c in rig.commands)
    assert next(c for c in rig.commands if c["cmd"] == "start")["hookup"] == "tapped"


def test_a_plain_rig_is_trimmed_powered_with_its_supply_switched_off():
    rig = SourceRig(iter([1.35]), hookups=["powered"], capabilities=["supply-switch"])
    client = client_of(rig)
    measure(client, hookup=trim_hookup(client), seconds=0.2)
    assert {"cmd": "supply", "on": False} in [{k: c[k] for k in c if k != "id"} for c in rig.commands]


def test_a_moving_voltage_is_not_steady():
    rig = SourceRig(iter([1.35]), capabilities=[])
    rig.drift_lsb = 0.5
    client = client_of(rig)
    assert not measure(client, hookup=trim_hookup(client), seconds=0.3).steady


def test_a_trim_reads_true_and_says_who_made_it_with_what():
    done = made()
    trim = done.trim
    assert trim.channels[0].line.gain_v == pytest.approx(GAIN, rel=1e-6)
    assert trim.operator == "A. Nobody"
    assert trim.meter == METER
    assert trim.temperature_c == pytest.approx(24.5)
    assert trim.smps_mode == "pwm"
    assert trim.monitor.line.gain_v == pytest.approx(1 / NODE, rel=1e-6)
    assert done.not_connected == ()


def test_a_channel_that_does_not_follow_stays_nominal_and_is_named():
    points = [replace(p, codes=(p.codes[0], 30.0, p.codes[2])) for p in taken()]
    done = made(points)
    assert done.not_connected == ("signal B",)
    assert done.trim.channels[1].points == ()
    assert done.trim.channels[2].points


def test_a_second_trim_shows_what_was_found_before_it():
    first = made().trim
    drifted = [replace(p, codes=tuple(c * 1.002 for c in p.codes)) for p in taken()]
    second = made(drifted, before=first)
    assert second.found[-1].as_found_v == pytest.approx(4.8 * 0.002, abs=1e-3)
    assert abs(second.found[-1].as_left_v) < 1e-4


def test_the_monitor_takes_the_operators_place_after_its_own_trim():
    first = made().trim
    bent = [replace(p, reading_v=None) for p in taken(tuple(0.25 + 0.19 * k for k in range(24)))]
    done = make_trim(bent, TrimOrder(None, reference="monitor"), RIG, before=first, now=lambda: NOW)
    assert done.trim.reference == "monitor"
    assert done.trim.meter == METER
    assert done.trim.channels[0].line.gain_v == pytest.approx(GAIN, rel=1e-4)
    with pytest.raises(TrimError, match="no trim of its own"):
        make_trim(bent, TrimOrder(None, reference="monitor"), RIG, before=None)


def test_points_with_the_monitor_are_kept_when_steady_and_new():
    steps = iter([0.3, 0.31, 1.4, 1.4, 2.5, 3.6, 4.7])
    rig = SourceRig(steps, capabilities=["monitor"])
    said: list[str] = []
    kept = take_with_monitor(
        client_of(rig), n=5, stop=lambda: False, said=said.append, before=made().trim, tries=10
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
    with pytest.raises(TrimError, match=said):
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


def test_a_trim_survives_its_file_and_the_one_before_is_kept(tmp_path: Path):
    trim = made().trim
    file = save_trim(trim, folder=tmp_path)
    again = load_trim("00ff", folder=tmp_path)
    assert trim_to_dict(again) == trim_to_dict(trim)
    json.loads(file.read_text(), parse_constant=pytest.fail)  # no NaN or infinity in it
    save_trim(replace(trim, notes="second"), folder=tmp_path)
    assert [p.name for p in (tmp_path / "before").iterdir()] == ["00ff-20260504080000.json"]
    assert load_trim("00ff", folder=tmp_path).notes == "second"
    assert load_trim("another", folder=tmp_path) is None


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"format": "sweeprig-trim", "version": 1}', '{"format": "x"}']
)
def test_a_damaged_trim_is_said_not_crashed_on(tmp_path: Path, text: str):
    (tmp_path / "00ff.json").write_text(text)
    with pytest.raises(SweeprigError) as caught:
        load_trim("00ff", folder=tmp_path)
    assert "sweeprig trim" in str(caught.value)


def test_a_check_standard_passes_and_a_moved_rig_fails():
    trim = made().trim
    point = taken((3.0,))[0]
    good = tv.check_standard(point, trim, RIG, reference_v=3.0, u95_reference_v=5e-4)
    assert {v.verdict for v in good} == {"pass"}
    assert [v.channel for v in good] == [0, 1, 2]
    moved = replace(point, codes=tuple(c * 1.005 for c in point.codes))
    bad = tv.check_standard(moved, trim, RIG, reference_v=3.0, u95_reference_v=5e-4)
    assert {v.verdict for v in bad} == {"fail"}
    kept = tv.kept(trim, bad, when=NOW, operator="A. Nobody", standard="cell 1")
    assert kept.verified[-1]["verdict"] == "fail"
    assert kept.verified[-1]["state"] == "as found"
    assert "trim" in tv.due(kept, now=NOW)
    assert trim_from_dict(trim_to_dict(kept)).verified == kept.verified


def test_what_is_due():
    trim = made().trim
    assert tv.due(trim, now=NOW) == ""
    assert "check standard" in tv.due(trim, now=NOW + timedelta(days=1))
    assert "days old" in tv.due(trim, now=NOW + timedelta(days=181))


def test_a_trim_of_this_moment_is_no_days_old():
    text = "\n".join(trim_lines(made().trim, now=NOW - timedelta(seconds=1)))
    assert ", 0 days old" in text


def test_a_moving_standard_is_not_judged():
    moving = replace(taken((3.0,))[0], moved=(2.0, 2.0, 2.0))
    with pytest.raises(TrimError, match="moved"):
        tv.check_standard(moving, made().trim, RIG, reference_v=3.0, u95_reference_v=5e-4)


def test_residuals_are_drawn():
    points = taken()
    points[2] = replace(points[2], reading_v=points[2].reading_v + 0.8e-3)
    lines = trim_lines(made(points).trim, now=NOW)
    row = next(line for line in lines if "2.5008 V" in line)
    assert "+" in row.split()[2]
    assert 0 < row.index("|") < row.index("o")


def test_marks_stand_where_the_number_is():
    assert drawn(0.0).index("o") == 10
    assert drawn(-1.0).index("o") == 0
    assert drawn(1.0).index("o") == 20
    assert drawn(1.2)[-1] == ">"
    assert drawn(-9.0)[0] == "<"


def counts_of(chip: str = "rp2040", seed: int = 4) -> np.ndarray:
    """Counts of a straight ramp on a simulated converter, resting at both ends."""
    from sweeprig.twin.converter import draw_converter

    converter = draw_converter(chip, np.random.default_rng(seed), noise_lsb=0.8)
    rng = np.random.default_rng(seed)
    u = np.concatenate([np.zeros(20_000), np.linspace(0.0, 3900.0, 400_000), np.full(20_000, 3900.0)])
    return np.bincount(converter.codes(u + rng.normal(0, 0.8, u.size)), minlength=4096)


def test_a_ramp_takes_out_what_the_usual_wide_codes_leave():
    done = straighten(replace(made().trim, chip="rp2040"), counts_of(), ramp_percent=0.005)
    assert done.worst_code in (511, 1535, 2559, 3583)
    assert done.worst_dnl_lsb > 6
    assert done.raw_lsb > 4
    assert done.left_lsb < 1.0 < done.nominal_lsb / 2  # single edges between those kept; DNL is up to 1 LSB
    assert done.nominal_lsb < done.raw_lsb
    assert done.trim.channels[0].linearity.method == "histogram"
    assert len(done.trim.channels[2].u_at) > 2


def test_resting_ends_of_a_ramp_are_left_out_and_wide_codes_are_kept():
    counts = counts_of()
    kept = without_rests(counts)
    assert counts.max() > 5000 > kept.max()
    assert kept[1535] == counts[1535]


def test_a_fast_ramp_is_refused():
    with pytest.raises(TrimError, match="too fast"):
        straighten(made().trim, counts_of() // 50, ramp_percent=0.005)


# --- the commands


@pytest.fixture
def on_source(monkeypatch: pytest.MonkeyPatch) -> SourceRig:
    rig = SourceRig(capabilities=["supply-switch", "monitor"])

    @contextmanager
    def opened(port: str):
        client = client_of(rig)
        client.hello()
        yield client

    monkeypatch.setattr("sweeprig.bench.rig.opened_rig", opened)
    return rig


TRIM = ["trim", "--meter", "0.05%+3", "--count", "0.0001", "--json"]


def test_a_guided_trim_is_stored_shown_listed_and_verified(on_source: SourceRig):
    typed = "".join(f"{v}\n" for v in VOLTS)
    run = CliRunner().invoke(app, TRIM, input=typed)
    assert run.exit_code == 0, run.output
    done = json.loads(run.stdout[run.stdout.index("{") :])  # the runner echoes what was typed before it
    assert done["trim"]["rig_uid"] == "00ff"
    assert Path(done["file"]).exists()
    assert Path(done["points_file"]).exists()
    shown = CliRunner().invoke(app, ["trim", "show"])
    assert shown.exit_code == 0
    assert "signal A" in shown.stdout
    listed = json.loads(CliRunner().invoke(app, ["trim", "list", "--json"]).stdout)
    assert [row["rig"] for row in listed] == ["00ff"]
    on_source.volts = iter([2.5])
    checked = CliRunner().invoke(app, ["trim", "verify", "2.5", "--standard-u", "0.0005", "--json"])
    assert checked.exit_code == 0, checked.output
    assert json.loads(checked.stdout)["verdict"] == "pass"
    on_source.gain = GAIN * 1.01
    on_source.volts = iter([2.5])
    failed = CliRunner().invoke(app, ["trim", "verify", "2.5", "--standard-u", "0.0005"])
    assert failed.exit_code == 10
    assert "fail" in failed.stdout


def test_a_slipped_digit_stores_nothing_but_loses_nothing(on_source: SourceRig):
    typed = "0.2\n1.35\n2.05\n3.65\n4.8\n"
    run = CliRunner().invoke(app, TRIM, input=typed)
    assert isinstance(run.exception, TrimError)
    assert "Point 3" in str(run.exception)
    places = find_places()
    assert load_trim("00ff", folder=places.trims) is None
    points = list((places.trims / "points").glob("*.csv"))
    assert len(points) == 1
    text = points[0].read_text().replace("2.050000", "2.500000")
    points[0].write_text(text)
    again = CliRunner().invoke(app, [*TRIM, "--points-file", str(points[0])])
    assert again.exit_code == 0, again.output
    assert load_trim("00ff", folder=places.trims) is not None


def test_what_is_not_a_voltage_is_asked_again(on_source: SourceRig):
    run = CliRunner().invoke(app, TRIM, input="two\n99\n" + "".join(f"{v}\n" for v in VOLTS))
    assert run.exit_code == 0, run.output


def test_a_trim_by_the_monitor_from_the_command_line(on_source: SourceRig):
    assert CliRunner().invoke(app, TRIM, input="".join(f"{v}\n" for v in VOLTS)).exit_code == 0
    on_source.volts = iter([0.25 + 0.2 * k for k in range(23)])
    run = CliRunner().invoke(app, ["trim", "--reference", "monitor", "--points", "20", "--json"])
    assert run.exit_code == 0, run.output
    assert json.loads(run.stdout)["trim"]["reference"] == "monitor"


def test_a_ramp_from_the_command_line(on_source: SourceRig):
    assert CliRunner().invoke(app, TRIM, input="".join(f"{v}\n" for v in VOLTS)).exit_code == 0
    run = CliRunner().invoke(app, ["trim", "ramp", "--seconds", "1", "--json"])
    assert run.exit_code == 0, run.output
    assert json.loads(run.stdout)["trim"]["channels"][0]["linearity"]["method"] == "histogram"
    shown = CliRunner().invoke(app, ["trim", "show"])
    assert "line+linearity" in shown.stdout
