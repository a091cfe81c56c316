"""An engine that is started while the rig looks: stopped, kept, and said in verdict, JSON, record and sheet."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from support.faces import UNWATCHED, Quiet
from support.scripted_rig import Outputs, Reading, ScriptedRig, client_of
from sweepboard import wire
from sweeprig.analysis.model import Finding
from sweeprig.bench.batch.series import Batch
from sweeprig.bench.batch.series_run import sweep_one
from sweeprig.bench.hookup.cautions import Unattended
from sweeprig.bench.readings.engine import EngineSeen
from sweeprig.bench.readings.limits import limit
from sweeprig.bench.readings.watch import Watcher
from sweeprig.bench.review.card import card_of
from sweeprig.bench.review.result import to_result
from sweeprig.bench.review.review import review_capture, review_file
from sweeprig.bench.session import session
from sweeprig.bench.sweep.sweep import SweepDone, SweepOrder, finish, take
from sweeprig.bench.watch import run_watch
from sweeprig.calibration.slow import battery_readings
from sweeprig.capture.file import read_capture
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.cli.views.outcome import outcome_lines
from sweeprig.errors import InterlockError
from sweeprig.frontend import front_end
from sweeprig.frontend.supply import battery_ohm
from sweeprig.frontend.tables import parts
from sweeprig.judge.model import Verdict
from sweeprig.judge.profile import load_profile
from sweeprig.link.messages import SlowReading
from sweeprig.records.store import open_store
from sweeprig.report.sheet import sheet_html
from sweeprig.twin.capture import capture_of
from sweeprig.words import Hookup, Setting

FULL = front_end("full")
POWERED = SweepSetup(seconds=4.0, confirmed=("plug-off: said",))
TAPPED = SweepSetup(
    seconds=4.0, hookup=Hookup.TAPPED, confirmed=("laptop-battery: said", "usb-first: said"), track_ohm=5000.0
)
VEHICLE = replace(
    TAPPED, setting="vehicle", vehicle_drive="combustion", confirmed=(*TAPPED.confirmed, "cautions: said")
)
REST_V, CHARGING_V = 12.5, 14.3  # common practice, no source: at rest, and while an alternator charges
CLOSED_V, OPEN_V, SUPPLY_V = 0.45, 4.2, 5.0
REST, STROKE = 700, 600  # windows


def node_uv(battery_v: float) -> int:
    """What the divider makes of the battery [uV]; its node is clamped to the board's 3.3 V."""
    top, bottom = battery_ohm(parts("full"))
    return min(3_300_000, round(1e6 * battery_v * bottom / (top + bottom)))


def reading(index: int, battery_v: float, status: int = 0) -> SlowReading:
    return SlowReading(index, wire.SLOW_BATTERY, status, node_uv(battery_v))


def lever(o: Outputs) -> Reading:
    """A good sensor that is moved; it gives nothing unless the rig or another controller feeds it."""
    if not o.supply and not o.tapped:
        return (0.0, 0.0, 0.0)
    at = o.index % (2 * (REST + STROKE))
    x = min(1.0, max(0.0, (at - REST) / STROKE))
    if at >= REST + STROKE:
        x = max(0.0, 1.0 - max(0, at - 2 * REST - STROKE) / STROKE)
    return (CLOSED_V + (OPEN_V - CLOSED_V) * x, 0.0, SUPPLY_V)


class Vehicle(ScriptedRig):
    """A rig on a vehicle whose engine is started `starts_at` records into the stream number `stream`."""

    def __init__(self, *, starts_at: int, stream: int, after_v: float = CHARGING_V) -> None:
        super().__init__(lever)
        self.n_streams = 0
        self.after_v = after_v
        self._when = (stream, starts_at)
        self._runs = False

    def _command(self, command: dict) -> None:
        self.n_streams += command["cmd"] == "start"
        super()._command(command)

    def _next_packet(self) -> None:
        stream, at = self._when
        self._runs = self._runs or (self.n_streams == stream and self._index >= at)
        self.slow = {wire.SLOW_BATTERY: node_uv(self.after_v if self._runs else REST_V)}
        super()._next_packet()


def swept(rig: ScriptedRig, folder: Path, setup: SweepSetup, *, timed: bool = True) -> SweepDone:
    url = str(folder / "records.sqlite")
    order = SweepOrder(setup, folder, folder / "calibrations", timed=timed, records_url=url)
    capture, path = take(client_of(rig), order, watch=UNWATCHED)
    return finish(capture, path, order)


@pytest.mark.parametrize(("setup", "stream"), [(POWERED, 2), (VEHICLE, 3)])
def test_an_engine_that_starts_ends_the_sweep_and_is_told(
    setup: SweepSetup, stream: int, tmp_path: Path
) -> None:
    rig = Vehicle(starts_at=2500, stream=stream)
    done = swept(rig, tmp_path, setup)
    capture = read_capture(done.capture_file)
    assert capture.ended == "stopped"
    assert 2500 <= len(capture.records) <= 3000, "kept until then"
    assert done.outcome.judgement.verdict is Verdict.UNDECIDED
    (found,) = [f for f in done.outcome.judgement.findings if f.code == "engine-running"]
    assert found.severity == "doubt"
    assert "started at 2.5 s" in found.evidence
    assert "14.3" in found.evidence
    assert found.cause == "engine"
    assert done.outcome.judgement.reason.startswith("Engine running: the engine was started at 2.5 s")
    card = card_of(done.outcome)
    assert card.sentence.startswith("Engine running")
    assert card.next_step.startswith("Switch the engine off")
    assert "ended early (stopped)" in card.sentence
    assert "12.5" in found.evidence
    assert "engine-running" in "\n".join(outcome_lines(done.outcome))
    assert "engine-running" in [f["code"] for f in to_result(done.outcome)["findings"]]
    assert "the engine was started" in done.sheets[0].read_text("utf-8")
    with open_store(str(tmp_path / "records.sqlite")) as store:
        assert done.record is not None
        assert store.get(done.record).verdict == "undecided"
    assert review_file(done.capture_file).judgement.verdict is Verdict.UNDECIDED
    assert not rig.out.supply


def test_readings_of_a_kept_capture_alone_forbid_the_pass() -> None:
    """The hole that was: 12.5 to 14.3 V in the capture's own readings, and PASS without a remark."""
    good = capture_of("good", seed=3, seconds=9.0, build="full")
    assert review_capture(good).judgement.verdict is Verdict.PASS
    slow = tuple(reading(100 * k, REST_V if k < 40 else CHARGING_V) for k in range(88))
    outcome = review_capture(replace(good, slow=slow))
    assert outcome.judgement.verdict is Verdict.UNDECIDED
    assert "engine" in outcome.judgement.reason
    assert "the engine was started" in sheet_html(outcome)


def test_an_override_lets_it_run_and_stands_in_the_result(tmp_path: Path) -> None:
    setup = replace(VEHICLE, override="idle on purpose")
    done = swept(Vehicle(starts_at=1500, stream=3), tmp_path, setup)
    assert read_capture(done.capture_file).ended == "complete"
    (found,) = [f for f in done.outcome.judgement.findings if f.code == "engine-running"]
    assert found.severity == "note"
    assert "idle on purpose" in found.evidence
    assert to_result(done.outcome)["override"] == "idle on purpose"
    assert to_result(review_capture(capture_of("good", seconds=3.0)))["override"] is None


def test_an_engine_started_while_the_sweep_waits_ends_the_wait(tmp_path: Path) -> None:
    rig = Vehicle(starts_at=0, stream=3)
    rig.volts = lambda o: (CLOSED_V, 0.0, SUPPLY_V) if o.tapped else (0.0, 0.0, 0.0)
    done = swept(rig, tmp_path, TAPPED, timed=False)
    assert done.outcome.judgement.verdict is not Verdict.PASS
    assert "runs from the start" in next(
        f.evidence for f in done.outcome.judgement.findings if f.code == "engine-running"
    )


def test_a_series_keeps_the_sensor_and_asks_again_for_the_next(tmp_path: Path) -> None:
    rig = Vehicle(starts_at=2500, stream=3)
    batch, order = Batch("B"), SweepOrder(VEHICLE, tmp_path, tmp_path / "calibrations")
    batch.next_sensor("SN-1")
    client = client_of(rig)
    done = sweep_one(client, order, batch, Quiet())
    assert done is not None
    assert batch.entries[0].verdict == "undecided"
    batch.next_sensor("SN-2")
    with pytest.raises(InterlockError, match="engine appears to run"):
        sweep_one(client, order, batch, Quiet())


def test_a_live_view_stops_with_the_reason(tmp_path: Path) -> None:
    rig = Vehicle(starts_at=2000, stream=3)
    with (
        pytest.raises(InterlockError, match="engine appears to run") as caught,
        session(client_of(rig), VEHICLE, calibrations=tmp_path) as s,
    ):
        run_watch(s, Watcher(s.profile), Quiet(), seconds=20.0)
    assert "14.3" in caught.value.seen
    assert not rig.streaming


def seen_of(volts: list[float], *, suspects: bool, status: int = 0, system: str = "") -> EngineSeen:
    seen = EngineSeen(FULL, suspects=suspects, system=system)
    seen.feed([reading(100 * k, v, status) for k, v in enumerate(volts)])
    return seen


@pytest.mark.parametrize(
    ("volts", "suspects", "runs"),
    [
        ([12.5] * 5 + [14.3] * 3, False, True),
        ([12.5] * 5 + [14.3] * 2 + [12.5] * 5 + [14.3] * 2, True, False),  # for moments only
        ([13.8] * 20, False, False),  # a charger that hangs on the battery of a bench
        ([13.8] * 20, True, True),
        ([0.0] * 5 + [13.8] * 5, False, False),  # the clip goes on
        ([12.5] * 5 + [9.5] * 5 + [12.9] * 5, True, False),
        ([12.5] * 5 + [60.0] * 3, False, True),
    ],
)
def test_what_counts_as_an_engine_that_runs(volts: list[float], suspects: bool, runs: bool) -> None:
    assert limit("vehicle.charging_readings") == 3
    assert (seen_of(volts, suspects=suspects).running is not None) is runs


@pytest.mark.parametrize(
    ("volts", "suspects", "system", "runs"),
    [
        ([25.2] * 20, True, "24", False),
        ([25.2] * 5 + [28.0] * 3, True, "24", True),
        ([25.2] * 5 + [28.0] * 3, False, "24", True),
        ([25.2] * 5 + [28.0] * 3, False, "", True),  # a bench: what was at rest first tells the system
        ([25.2] * 20, False, "", False),
        ([28.0] * 20, False, "", False),  # a charger
        ([12.5] * 5 + [25.2] * 3, False, "", True),
    ],
)
def test_an_engine_of_a_24_v_system_is_seen_to_start(
    volts: list[float], suspects: bool, system: str, runs: bool
) -> None:
    assert (seen_of(volts, suspects=suspects, system=system).running is not None) is runs


def test_a_kept_capture_at_25_v_says_that_nothing_is_known() -> None:
    good = replace(capture_of("good", seed=3, seconds=9.0, build="full"), setup=replace(VEHICLE, seconds=9.0))
    slow = tuple(reading(100 * k, 25.2) for k in range(88))
    (found,) = _engine_findings(replace(good, slow=slow))
    assert found.severity == "doubt"
    assert "at rest in a 24 V system, too high for a 12 V system" in found.evidence
    assert "runs" not in found.evidence.replace("whether the engine runs", "")
    said = replace(good, slow=slow, setup=replace(good.setup, vehicle_system="24"))
    assert _engine_findings(said) == []


def _engine_findings(capture: Capture) -> list[Finding]:
    return [f for f in review_capture(capture).judgement.findings if f.code == "engine-running"]


def test_readings_with_a_bad_status_do_not_count() -> None:
    slow = [reading(0, 12.6), reading(1, 30.0, status=1), reading(2, 12.6)]
    assert [at for at, _ in battery_readings(slow, FULL)] == [0, 2]


def test_a_24_v_vehicle_at_rest_is_swept_once_its_system_is_said(tmp_path: Path) -> None:
    with pytest.raises(InterlockError, match="does not say whether the engine runs") as caught:
        tapped(25.2, tmp_path)
    assert "--system 24" in caught.value.next_step
    prepared = tapped(25.2, tmp_path, replace(TAPPED, vehicle_system="24"))
    assert any("24 V system" in line for line in prepared)
    with pytest.raises(InterlockError, match="engine appears to run"):
        tapped(28.0, tmp_path, replace(TAPPED, vehicle_system="24"))


def test_the_answer_to_the_system_is_kept_with_the_capture(tmp_path: Path) -> None:
    rig = Vehicle(starts_at=0, stream=1, after_v=25.2)
    ask = Unattended((*TAPPED.confirmed, "system-24: said"))
    with session(client_of(rig), TAPPED, calibrations=tmp_path, ask=ask) as s:
        assert s.setup.vehicle_system == "24"
        assert s.engine.seen.system == "24"


def test_a_build_without_a_battery_lead_sees_no_engine() -> None:
    seen = EngineSeen(front_end("plain"), suspects=True)
    seen.feed([reading(k, 14.3) for k in range(9)])
    assert seen.running is None


# --- what the interlock asks, and above the divider's range


def tapped(battery_v: float, folder: Path, setup: SweepSetup = TAPPED) -> tuple[str, ...]:
    rig = Vehicle(starts_at=0, stream=1, after_v=battery_v)
    with session(client_of(rig), setup, calibrations=folder, ask=Unattended(setup.confirmed)) as s:
        return s.setup.prepared


def test_tapped_asks_the_interlock_whatever_was_said(tmp_path: Path) -> None:
    assert TAPPED.setting != Setting.VEHICLE
    with pytest.raises(InterlockError, match="engine appears to run") as caught:
        tapped(14.2, tmp_path)
    assert "14.2" in caught.value.seen
    assert any("Battery 12.5" in line for line in tapped(12.5, tmp_path))
    assert any("OVERRIDDEN" in line for line in tapped(14.2, tmp_path, replace(TAPPED, override="bench")))


def test_a_battery_beyond_the_divider_is_above_range(tmp_path: Path) -> None:
    with pytest.raises(InterlockError, match="engine appears to run") as caught:
        tapped(48.0, tmp_path)
    assert "above range, 37.4 V or more" in caught.value.seen
    assert "NOT measured" not in caught.value.seen
    over = seen_of([12.5] * 4 + [48.0] * 3, suspects=False, status=0).running
    assert over is not None
    assert math.isinf(over.battery_v)
    assert "above range" in over.line
    assert seen_of([48.0] * 3, suspects=True, status=1).running is not None, (
        "with a status of its own as well"
    )


def test_profile_of_the_scripted_rig_is_the_usual_one() -> None:
    assert load_profile(POWERED.profile).supply.nominal_v == SUPPLY_V


def test_the_interlock_counts_the_readings_that_came(tmp_path: Path) -> None:
    """It said ten of any second; this rig sends one with every packet, so 62 or so."""
    line = next(line for line in tapped(12.5, tmp_path) if line.startswith("Battery 12.5"))
    n = int(line.partition("(")[2].split()[0])
    assert 55 <= n <= 70
