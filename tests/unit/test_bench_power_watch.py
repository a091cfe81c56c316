"""The supply at both lever positions of a sweep: an overload at the other end switches off, ends it and is said."""

from __future__ import annotations

import struct
from collections.abc import Callable
from pathlib import Path

import pytest

from support.faces import UNWATCHED, Quiet
from support.scripted_rig import Outputs, Reading, ScriptedRig, client_of, sensor
from sweepboard import wire
from sweeprig.bench.batch.series import Batch
from sweeprig.bench.batch.series_run import sweep_one
from sweeprig.bench.hookup.power_watch import ONE_PLACE
from sweeprig.bench.readings.limits import limit
from sweeprig.bench.sweep import run as sweep_run
from sweeprig.bench.sweep.sweep import SweepOrder, take
from sweeprig.capture.file import read_capture
from sweeprig.capture.model import SweepSetup
from sweeprig.errors import HookupError, InputError
from sweeprig.words import Hookup

CLOSED_V, OPEN_V, SUPPLY_V = 0.45, 4.2, 5.0
STROKE = 600  # windows from closed to open: 0.6 s
REST = 700  # windows of rest at each end
POWERED = SweepSetup(seconds=4.0, confirmed=("plug-off: confirmed",))


def opened(index: int) -> float:
    """How far the lever is open, 0 to 1, `index` windows after the start."""
    at = index % (2 * (REST + STROKE))
    going = at - REST
    if at >= REST + STROKE:
        return max(0.0, 1.0 - max(0, at - 2 * REST - STROKE) / STROKE)
    return min(1.0, max(0.0, going / STROKE))


def moved(supply: Callable[[float], float] = lambda _x: SUPPLY_V) -> Callable[[Outputs], Reading]:
    """A lever that is moved there and back; `supply` gives the volts of the supply where it is open by 0 to 1."""

    def volts(o: Outputs) -> Reading:
        if not o.supply:
            return (0.0, 0.0, 0.0)
        x = opened(o.index)
        fed = supply(x)
        return ((CLOSED_V + (OPEN_V - CLOSED_V) * x) * fed / SUPPLY_V, 0.0, fed)

    return volts


def sweep(rig: ScriptedRig, folder: Path, setup: SweepSetup = POWERED):
    order = SweepOrder(setup, folder, folder / "calibrations", timed=True)
    return take(client_of(rig), order, watch=UNWATCHED)[0]


def first_power(lines: tuple[str, ...]) -> list[str]:
    return [line for line in lines if line.startswith("Supply at")]


def test_both_positions_stand_in_the_capture(tmp_path: Path) -> None:
    capture = sweep(ScriptedRig(moved(lambda x: SUPPLY_V - 0.1 * x)), tmp_path)
    here, there = first_power(capture.setup.prepared)
    assert "this lever position: 5.00 V" in here
    assert "the other lever position (signal 4.1" in there
    assert ": 4.90 V, no overload" in there
    assert capture.ended == "complete"
    assert first_power(read_capture(Path(capture.path)).setup.prepared) == [here, there]


def test_a_low_supply_at_the_other_end_is_remarked(tmp_path: Path) -> None:
    capture = sweep(ScriptedRig(moved(lambda x: SUPPLY_V - 0.9 * x)), tmp_path)
    assert " LOW: " in first_power(capture.setup.prepared)[1]


def test_a_lever_that_does_not_move_is_one_position(tmp_path: Path) -> None:
    capture = sweep(ScriptedRig(sensor()), tmp_path)
    assert first_power(capture.setup.prepared)[1] == ONE_PLACE


@pytest.mark.parametrize(("level", "word"), [(2.4, "overload"), (0.3, "short")])
@pytest.mark.parametrize("build", ["plain", "full"])
def test_an_overload_at_the_other_end_switches_off_and_says_so(
    level: float, word: str, build: str, tmp_path: Path
) -> None:
    """Supply on the wiper's pin: near open throttle it is joined to ground, and the limiter acts."""
    rig = ScriptedRig(moved(lambda x: SUPPLY_V if x < 0.9 else level), build=build)
    rig.fault = lambda o: o.supply and opened(o.index) >= 0.9
    off_at = []
    obey = rig._obey

    def noted(name: str, command: dict) -> None:
        if name == "supply" and not command["on"] and rig.out.supply:
            off_at.append((rig._index, rig.streaming))
        obey(name, command)

    rig._obey = noted  # type: ignore[method-assign]
    with pytest.raises(HookupError, match=f"during the sweep: {word} once the lever had moved") as caught:
        sweep(rig, tmp_path)
    assert f"supply {level:.2f} V; signal 0.45 V at the start, 3.7" in caught.value.seen
    assert "sweeprig pins" in caught.value.next_step
    assert not rig.out.supply
    assert not rig.out.burden
    assert not rig.streaming
    overloaded_at = REST + 0.9 * STROKE
    window_s = wire.WINDOW * wire.CHANNELS / wire.CONVERSION_HZ
    ((index, streaming),) = off_at
    assert streaming, "before the capture is ended and put away"
    assert 0.1 <= (index - overloaded_at) * window_s < 0.4, "held for 0.1 s, seen within a poll or two"
    (kept,) = tmp_path.glob("*.sweep")
    assert str(kept) in caught.value.next_step
    capture = read_capture(kept)
    assert capture.ended == "stopped"
    assert len(capture.records) >= overloaded_at + 100
    assert list(tmp_path.glob("*.journal*")) == []


def test_a_short_without_a_fault_line_is_seen_by_its_volts(tmp_path: Path) -> None:
    rig = ScriptedRig(moved(lambda x: SUPPLY_V if x < 0.9 else 0.3))
    with pytest.raises(HookupError, match="short once the lever had moved"):
        sweep(rig, tmp_path)


def test_an_overload_where_the_sweep_began_names_that_place(tmp_path: Path) -> None:
    rig = ScriptedRig(lambda o: (0.45, 0.0, 4.7) if o.supply and o.index < 600 else (0.0, 0.0, 0.0))
    with pytest.raises(HookupError, match="short with the lever where the sweep began"):
        sweep(rig, tmp_path)


@pytest.mark.parametrize("flicker", [1, 40, 90])
def test_a_limiter_that_acts_for_moments_stops_no_sweep(flicker: int, tmp_path: Path) -> None:
    """A loose wire's inrush is a finding of the analysis, not a reason to lose the rest of the sweep."""
    rig = ScriptedRig(moved())
    rig.fault = lambda o: o.supply and o.index > 1200 and o.index % 500 < flicker
    capture = sweep(rig, tmp_path)
    assert capture.ended == "complete"
    assert len(first_power(capture.setup.prepared)) == 2


def test_a_tapped_sensor_is_nobodys_to_switch_off(tmp_path: Path) -> None:
    rig = ScriptedRig(lambda _o: (0.8, 0.0, 0.0))
    setup = SweepSetup(
        seconds=2.0, hookup=Hookup.TAPPED, confirmed=("laptop-battery: confirmed", "usb-first: confirmed")
    )
    capture = sweep(rig, tmp_path, setup)
    assert first_power(capture.setup.prepared) == []


def test_a_series_stops_at_an_overload_and_keeps_what_came(tmp_path: Path) -> None:
    rig = ScriptedRig(moved(lambda x: SUPPLY_V if x < 0.9 else 2.4))
    rig.fault = lambda o: o.supply and opened(o.index) >= 0.9
    batch = Batch("B")
    batch.next_sensor("SN-3")
    order = SweepOrder(POWERED, tmp_path, tmp_path / "calibrations")
    with pytest.raises(HookupError, match="overload once the lever had moved"):
        sweep_one(client_of(rig), order, batch, Quiet())
    assert not rig.out.supply
    assert batch.entries == []
    assert len(list(tmp_path.glob("*.sweep"))) == 1


@pytest.mark.parametrize("there", [(0.0, 0.0, 5.0), (0.8, 0.0, 0.0), (0.0, 1.2, 0.0)])
def test_a_sweep_feeds_nothing_where_voltage_is_there_already(there: Reading, tmp_path: Path) -> None:
    rig = ScriptedRig(lambda _o: there)
    with pytest.raises(HookupError, match="leads carry voltage"):
        sweep(rig, tmp_path)
    assert not any(c["on"] for c in rig.did("supply") + rig.did("burden"))
    assert list(tmp_path.glob("*.sweep")) == []


def test_supply_and_signal_are_measured_before_switching_on(tmp_path: Path) -> None:
    looked: list[bool] = []

    def volts(o: Outputs) -> Reading:
        looked.append(o.supply)
        return moved()(o)

    rig = ScriptedRig(volts)
    capture = sweep(rig, tmp_path)
    assert looked.index(True) * wire.WINDOW * wire.CHANNELS / wire.CONVERSION_HZ > 0.2
    assert any(line.startswith("Sensor supply still off: supply 0.0") for line in capture.setup.prepared)


def test_a_sweep_that_nobody_begins_lets_the_sensor_go(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sweep_run, "limit", lambda name: 10.0 if name == "sweep.wait_s" else limit(name))
    rig = ScriptedRig(lambda o: (0.45, 0.0, 5.0) if o.supply else (0.0, 0.0, 0.0))
    order = SweepOrder(POWERED, tmp_path, tmp_path / "calibrations")
    with pytest.raises(InputError, match="does not begin"):
        take(client_of(rig), order, watch=UNWATCHED)
    assert not rig.out.supply
    assert list(tmp_path.glob("*.journal")) == []


@pytest.mark.parametrize(("signal_v", "name"), [(0.0, "sensor ground"), (4.99, "the supply")])
def test_a_signal_that_stays_at_a_rail_lets_the_sensor_go(tmp_path: Path, signal_v: float, name: str) -> None:
    rig = ScriptedRig(lambda o: (signal_v, 0.0, 5.0) if o.supply else (0.0, 0.0, 0.0))
    order = SweepOrder(POWERED, tmp_path, tmp_path / "calibrations")
    with pytest.raises(InputError, match=f"stays at {name}. The sensor is switched off") as raised:
        take(client_of(rig), order, watch=UNWATCHED)
    assert "for 20 s" in raised.value.seen
    assert "sweeprig check" in raised.value.next_step
    assert not rig.out.supply
    assert list(tmp_path.glob("*.journal")) == []


# --- a board that has let go by itself, and records that are no data


def fed_until(index: int) -> Callable[[Outputs], Reading]:
    """Let the board switch off by itself at a record of the stream, as one to which nobody speaks does."""

    def volts(o: Outputs) -> Reading:
        if o.index >= index:
            o.supply = False
        return moved()(o)

    return volts


def test_a_board_that_let_go_in_the_countdown_is_said(tmp_path: Path) -> None:
    """Ctrl-Z for longer than the board waits: the sensor would be swept without its supply, and called cut."""
    rig = ScriptedRig(moved())
    order = SweepOrder(POWERED, tmp_path, tmp_path / "calibrations", timed=True)

    def held() -> None:
        rig.out.supply = False

    with pytest.raises(HookupError, match="switched the sensor's supply off by itself") as caught:
        take(client_of(rig), order, watch=UNWATCHED, before=held)
    assert "Ctrl-Z" in caught.value.next_step
    assert list(tmp_path.glob("*.sweep")) == list(tmp_path.glob("*.journal")) == []


def test_a_board_that_lets_go_in_a_sweep_ends_it_and_keeps_it(tmp_path: Path) -> None:
    rig = ScriptedRig(fed_until(2000))
    with pytest.raises(HookupError, match="switched the sensor's supply off by itself") as caught:
        sweep(rig, tmp_path)
    (kept,) = tmp_path.glob("*.sweep")
    assert str(kept) in caught.value.next_step
    assert 2000 <= len(read_capture(kept).records) <= 2400


class Marked(ScriptedRig):
    """Calls some of its conversions bad; they read as if the supply were shorted."""

    def _record(self, index: int) -> bytes:
        plain = super()._record(index)
        if not 1500 <= index < 1800 or not self.out.supply:
            return plain
        fields = list(struct.unpack(wire.RECORD_FORMAT, plain))
        fields[:9] = [0] * 9
        fields[-1] |= wire.FLAG_CONVERSION_ERROR
        return struct.pack(wire.RECORD_FORMAT, *fields)


def test_records_called_bad_are_no_short(tmp_path: Path) -> None:
    capture = sweep(Marked(moved()), tmp_path)
    assert capture.ended == "complete"
    here, there = first_power(capture.setup.prepared)
    assert "this lever position" in here
    assert ": 5.00 V" in there
