"""The connection test and the test of the lead, with a scripted rig: order, switches, results."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from support.day_traces import flat_trace
from support.scripted_rig import Outputs, Reading, ScriptedRig, client_of, sensor
from sweeprig.bench.connection.lead import run_lead_check
from sweeprig.bench.connection.model import Joint, WiringFault
from sweeprig.bench.connection.run import ConnectionTested, _toggles, run_check
from sweeprig.bench.hookup.cautions import Unattended
from sweeprig.bench.hookup.lead_book import LeadBook
from sweeprig.bench.session import Session, session
from sweeprig.capture.model import Channel, SweepSetup
from sweeprig.cli.commands.check import EXIT_OF_CHECK, check_lines
from sweeprig.errors import HookupError
from sweeprig.words import Hookup, Sense

WHEN = datetime(2031, 3, 4, 10, 15, tzinfo=UTC)
MOVES_AT = 2500  # record at which the operator moves the lever
TRAVEL = 100  # records that the movement takes: a tenth of a second, a fast hand


@contextmanager
def looked_at(rig: ScriptedRig, setup: SweepSetup | None = None) -> Iterator[Session]:
    ask = Unattended(("plug-off", "laptop-battery", "usb-first"))
    given, nowhere = setup or SweepSetup(), Path("no-calibrations")
    with session(
        client_of(rig), given, calibrations=nowhere, ask=ask, now=lambda: WHEN, switch_on=False
    ) as s:
        yield s


def check(rig: ScriptedRig, setup: SweepSetup | None = None) -> ConnectionTested:
    with looked_at(rig, setup) as s:
        return run_check(s, move_s=4.0)


def lever(closed: float, opened: float, *, open_lead: bool = False, b: float = 0.0):
    """A sensor whose lever is moved at MOVES_AT; an open lead is pulled further by the bias."""

    def volts(o: Outputs) -> Reading:
        if not o.supply and not o.tapped:
            return (0.0, 0.0, 0.0)
        way = min(1.0, max(0.0, (o.index - MOVES_AT) / TRAVEL))
        signal = 0.0 if open_lead else closed + way * (opened - closed)
        if o.bias == "up":
            signal += (1.42 if open_lead else 0.66) * (1 - signal / 4.6)
        return (signal, b, 5.0)

    return volts


def test_good_sensor_is_connected_and_all_off_afterwards() -> None:
    rig = ScriptedRig(lever(0.45, 4.1))
    checked = check(rig)
    assert checked.verdict == "connected"
    result = checked.checks["signal A"]
    assert (result.sense, result.joint) == (Sense.RISING, Joint.CONNECTED)
    assert result.moved_v == pytest.approx(3.65, abs=0.02)
    assert not rig.out.supply
    assert not rig.out.burden
    assert rig.out.bias == "off"


def test_dropouts_on_the_way_are_counted() -> None:
    def volts(o: Outputs) -> Reading:
        a, b, supply = lever(0.45, 4.1)(o)
        return (0.02 if o.supply and o.index in (2900, 3001, 3002) else a, b, supply)

    assert check(ScriptedRig(volts)).n_dropouts == 2
    assert check(ScriptedRig(lever(0.45, 4.1))).n_dropouts == 0


def test_bias_is_only_up_while_the_burden_is_off() -> None:
    rig = ScriptedRig(lever(0.45, 4.1))
    check(rig)
    order = [(c["cmd"], c.get("on", c.get("mode"))) for c in rig.commands if c["cmd"] in ("burden", "bias")]
    at = order.index(("bias", "up"))
    assert order[at - 1] == ("burden", False)
    assert order[at + 1 : at + 3] == [("bias", "off"), ("burden", True)]


def test_open_lead_is_found_with_the_bias() -> None:
    checked = check(ScriptedRig(lever(0, 0, open_lead=True)))
    assert [f.fault for f in checked.checks["signal A"].findings] == [WiringFault.OPEN_SIGNAL]


def test_supply_limiting_on_movement_is_cut_as_wrong_pin() -> None:
    rig = ScriptedRig(lever(4.6, 4.7))
    rig.fault = lambda o: o.supply and o.index >= MOVES_AT
    checked = check(rig)
    assert [f.fault for f in checked.checks["signal A"].findings] == [WiringFault.WRONG_PIN]
    assert not rig.out.supply
    order = [(c["cmd"], c.get("on")) for c in rig.commands]
    fed = order.index(("supply", True))
    assert order.index(("supply", False), fed) < order.index(("stop", None), fed), "cut at once"


def test_short_is_cut_at_once_and_tried_again_only_at_open() -> None:
    rig = ScriptedRig(sensor(0.0, 0.2))
    rig.fault = lambda o: o.supply
    checked = check(rig)
    assert [f.fault for f in checked.checks["signal A"].findings] == [WiringFault.SUPPLY_SHORT]
    assert [c["on"] for c in rig.did("supply")].count(True) == 2
    assert not rig.out.supply


def test_short_at_closed_alone_is_a_wrong_pin() -> None:
    rig = ScriptedRig(
        lambda o: ((2.0, 0.0, 4.7) if o.index >= MOVES_AT else (0.0, 0.0, 0.2)) if o.supply else (0, 0, 0)
    )
    rig.fault = lambda o: o.supply and o.index < MOVES_AT
    checked = check(rig)
    finding = checked.checks["signal A"].findings[0]
    assert finding.fault is WiringFault.WRONG_PIN
    assert "closed throttle only" in finding.evidence


def test_voltage_already_there_stops_the_test() -> None:
    rig = ScriptedRig(lambda _o: (1.0, 0.0, 5.0))
    with pytest.raises(HookupError, match="leads carry voltage"):
        check(rig)
    assert not any(c["on"] for c in rig.did("supply"))


def test_tapped_check_switches_nothing_on() -> None:
    rig = ScriptedRig(lever(0.45, 4.1))
    checked = check(rig, SweepSetup(hookup=Hookup.TAPPED))
    assert checked.verdict == "connected"
    assert checked.checks["signal A"].joint is Joint.NOT_TESTED
    assert not any(c.get("on") for c in rig.did("supply") + rig.did("burden"))
    assert all(c["mode"] == "off" for c in rig.did("bias"))


def test_second_track_is_judged_where_the_profile_has_one() -> None:
    checked = check(ScriptedRig(lever(0.45, 4.1)), SweepSetup(profile="two-tracks-parallel"))
    assert checked.verdict == "fault"
    assert checked.checks["signal A"].verdict == "connected"
    assert checked.checks["signal B"].verdict == "fault"


def test_progress_is_told_while_the_lever_is_moved() -> None:
    seen: list[float] = []
    with looked_at(ScriptedRig(lever(0.45, 0.46))) as s:
        run_check(s, move_s=2.0, progress=lambda t, _lv: seen.append(t))
    assert seen == pytest.approx([0.25 * k for k in range(1, 9)])


# --- the lead


def lead(rig: ScriptedRig, setup: SweepSetup | None = None):
    with looked_at(rig, replace(setup or SweepSetup(), operator="R. Invented")) as s:
        return run_lead_check(s, wanted_ratio=0.5)


def test_good_lead_passes_and_its_date_is_kept(tmp_path: Path) -> None:
    done = lead(ScriptedRig(sensor(2.36, 4.72)))
    assert done.passed
    assert done.ratio == pytest.approx(0.5, abs=2e-3)
    assert (done.n_events, done.shaken_s) == (0, 20.0)
    book = LeadBook(tmp_path)
    book.note("00ff", done)
    assert book.line("00ff").startswith("2031-03-04 passed")
    assert book.line("other") == ""


def test_wrong_ratio_and_noise_fail_the_lead() -> None:
    assert "ratio 0.42" in lead(ScriptedRig(sensor(2.0, 4.72))).reason
    noisy = ScriptedRig(lambda o: (2.36 + 0.01 * (-1) ** o.index, 0.0, 4.72) if o.supply else (0, 0, 0))
    assert "noise" in lead(noisy).reason


def test_dropout_while_shaken_fails_the_lead() -> None:
    def loose(o: Outputs) -> Reading:
        if not o.supply:
            return (0, 0, 0)
        return (0.1 if 9000 <= o.index < 9003 else 2.36, 0.0, 4.72)

    done = lead(ScriptedRig(loose))
    assert not done.passed
    assert done.n_events == 1
    assert "1 events while shaken" in done.reason


def test_lead_is_not_tested_on_a_harness() -> None:
    with pytest.raises(HookupError, match="test plug"):
        lead(ScriptedRig(sensor(2.36)), SweepSetup(hookup=Hookup.TAPPED))


def test_short_in_the_plug_is_refused_and_switched_off() -> None:
    rig = ScriptedRig(sensor(0.1, 0.2))
    rig.fault = lambda o: o.supply
    with pytest.raises(HookupError, match="short at the test plug"):
        lead(rig)
    assert not rig.out.supply


def switched(level_at: Callable[[int], float]) -> ScriptedRig:
    def volts(o: Outputs) -> Reading:
        return (level_at(o.index), 0.0, 5.0) if o.supply else (0.0, 0.0, 0.0)

    return ScriptedRig(volts)


def test_two_level_signal_is_not_analogue() -> None:
    checked = check(switched(lambda k: 0.15 if k < MOVES_AT else 4.6))
    assert checked.verdict == "undecided"
    result = checked.checks["signal A"]
    assert [f.fault for f in result.findings] == [WiringFault.NOT_ANALOGUE]
    assert "two levels" in result.findings[0].evidence
    assert result.findings[0].next_step
    assert result.sense is Sense.UNKNOWN
    assert checked.n_dropouts == 0
    lines = check_lines(checked)
    assert lines[0].startswith("UNDECIDED: the signal is not analogue")
    assert EXIT_OF_CHECK[checked.verdict] == 11


def test_fast_hand_is_no_switch() -> None:
    result = check(ScriptedRig(lever(0.45, 4.1))).checks["signal A"]
    assert result.verdict == "connected"
    assert result.findings == ()


@pytest.mark.parametrize("gap", [False, True])
def test_levels_on_both_sides_of_lost_records_are_no_switch(gap: bool) -> None:
    way = flat_trace(0.45, seconds=1.0)
    half = way.t_s.size // 2
    mean = np.where(np.arange(way.t_s.size) < half, 0.15, 4.6)
    lost = np.zeros(way.t_s.size, bool)
    lost[half] = gap
    way = replace(way, gap_before=lost)
    assert _toggles(way, Channel(mean, mean - 1e-3, mean + 1e-3), 4.7) == ("" if gap else "levels")
