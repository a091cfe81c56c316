"""A sweep that the rig's motor makes, on the simulated driven build with the board's own drive in the firmware."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sweepboard import simulated_drive
from sweeprig.bench.board.rig import opened_rig
from sweeprig.bench.drive import course
from sweeprig.bench.drive.check import learn, small_steps
from sweeprig.bench.drive.course import Doing, DriveState
from sweeprig.bench.drive.sweep import take_driven
from sweeprig.bench.hookup.cautions import Unattended
from sweeprig.bench.readings.limits import limit
from sweeprig.bench.review.review import Choices, review_capture
from sweeprig.bench.sweep.sweep import SweepOrder
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.errors import DriveError, HookupError, InputError, SafetyError
from sweeprig.link.client import RigClient
from sweeprig.twin import simulated
from sweeprig.twin.sensors import load_sensor
from sweeprig.twin.shaft import DEG, Shaft

URL = "sim://{}?board=driven&pace=fast&vm=cpython&seed=4"
PLUGGED = "plug-off: the plug is off"
FASTER = {"driven.stroke_s": 1.5, "driven.search_deg_s": 60.0, "driven.hold_s": 0.6}


class Watching:
    """Sees every state; ends the sweep, or has something done, amid a leg."""

    def __init__(self, at: tuple[Doing, int] | None = None, do: Callable[[], object] | None = None) -> None:
        self.seen: list[DriveState] = []
        self._at, self._do, self._over = at, do, False

    def show(self, state: DriveState) -> None:
        self.seen.append(state)
        if (state.doing, state.stroke) == self._at and state.angle_deg > 20:
            if self._do is not None:
                self._do()
            self._over = self._do is None

    def pressed(self) -> str:
        return ""

    def ended(self) -> bool:
        return self._over


@pytest.fixture
def shafts(monkeypatch: pytest.MonkeyPatch) -> list[Shaft]:
    """Every simulated shaft that is made from now on."""
    made: list[Shaft] = []
    make = simulated.shaft_of

    def keep(options: Any) -> Shaft | None:
        shaft = make(options)
        made.extend([shaft] if shaft else [])
        return shaft

    monkeypatch.setattr(simulated, "shaft_of", keep)
    return made


@pytest.fixture
def faster(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same course in less time."""
    monkeypatch.setattr(course, "limit", lambda key: FASTER.get(key, limit(key)))


def order(folder: Path, **setup: Any) -> SweepOrder:
    made = SweepSetup(profile="any-three-wire", hookup="powered", confirmed=(PLUGGED,), **setup)
    return SweepOrder(made, folder, folder / "calibrations", Choices(), "none")


@contextmanager
def rig(sensor: str, more: str = "") -> Iterator[RigClient]:
    with opened_rig(URL.format(sensor) + more) as client:
        yield client


def driven(
    folder: Path, sensor: str, more: str = "", *, watching: Watching | None = None, **how: Any
) -> Capture:
    face = watching or Watching()
    with rig(sensor, more) as client:
        capture, _ = take_driven(client, order(folder), watch=lambda s: nullcontext(face), **how)
    return capture


def test_a_good_sensor_is_straight_from_stop_to_stop(
    tmp_path: Path, shafts: list[Shaft], faster: None
) -> None:
    watching = Watching()
    capture = driven(tmp_path, "good", watching=watching)
    outcome = review_capture(capture, Choices())
    spec, line = load_sensor("good"), outcome.analysis.linearity
    assert line is not None
    assert capture.ended == "complete"
    assert outcome.trace.angle_deg is not None
    assert np.ptp(outcome.trace.angle_deg) == pytest.approx(90.0, abs=0.4)
    per_degree = (spec.open_v - spec.closed_v) / 90.0
    assert line.volts_per_degree == pytest.approx(per_degree, rel=0.01)
    assert line.independent_percent < 0.3  # the rig is not calibrated
    assert (
        line.hysteresis_percent < 0.5
    )  # the age of an angle at 60 degrees a second, a third of that as shipped
    assert outcome.analysis.low is not None
    assert outcome.analysis.high is not None
    assert outcome.analysis.low.value_v == pytest.approx(spec.closed_v, abs=0.010)  # pushed against its stop
    assert outcome.analysis.high.value_v == pytest.approx(spec.open_v - 0.2 * per_degree, abs=0.04)
    assert capture.coaching[0].startswith("moved by the rig's motor: 3 strokes of 90")
    order_of = list(dict.fromkeys((s.doing, s.stroke) for s in watching.seen))
    assert order_of == [
        *((d, 0) for d in (Doing.HOME, Doing.REST, Doing.SEARCH, Doing.BACK)),
        *((Doing.OPENING, 1), (Doing.CLOSING, 2), (Doing.OPENING, 3), (Doing.DONE, 3)),
    ]
    assert shafts[0].rate_deg_s == 0.0


def test_play_between_lever_and_wiper_is_hysteresis(tmp_path: Path, faster: None) -> None:
    capture = driven(tmp_path, "hysteresis", travel_deg=80.0)
    line = review_capture(capture, Choices()).analysis.linearity
    assert line is not None
    spec = load_sensor("hysteresis")
    play = 100 * spec.faults[0].width * (spec.open_v - spec.closed_v) / 5.0
    assert line.hysteresis_percent == pytest.approx(play, rel=0.3)


def test_the_motor_makes_the_strokes_that_would_decide(
    tmp_path: Path, faster: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = [2, 0]
    monkeypatch.setattr("sweeprig.bench.drive.sweep.strokes_that_would_tell", lambda *_: asked.pop(0))
    watching = Watching()
    capture = driven(tmp_path, "good", watching=watching, travel_deg=30.0)
    assert [s.stroke for s in watching.seen][-1] == 5
    assert capture.coaching[0].startswith("moved by the rig's motor: 5 strokes of 30")
    assert capture.coaching[1].startswith("2 of them")
    assert not asked


@pytest.mark.parametrize("more", ["&motor=reversed", "&zero=3700", "&slack=2"])
def test_a_motor_that_was_built_otherwise_makes_the_same(tmp_path: Path, faster: None, more: str) -> None:
    capture = driven(tmp_path, "good", more, travel_deg=60.0)
    trace = review_capture(capture, Choices()).trace
    assert trace.angle_deg is not None
    assert np.ptp(trace.angle_deg) == pytest.approx(60.0, abs=0.5)


@pytest.mark.usefixtures("faster")
@pytest.mark.parametrize(
    ("more", "what", "step"),
    [
        ("&motor=stuck", "does not follow the motor", "S3"),
        ("&magnet=no", "angle encoder", "U4"),
        ("&home=never", "home switch is not pressed", "slide S2"),
        ("&home=open", "home switch is pressed", "unplugged it reads as pressed"),
    ],
)
def test_what_keeps_the_motor_from_it_is_named(
    tmp_path: Path, shafts: list[Shaft], more: str, what: str, step: str
) -> None:
    with pytest.raises(DriveError, match=what) as caught:
        driven(tmp_path, "good", more)
    assert step in caught.value.next_step
    assert "without current" in caught.value.what
    assert shafts[0].rate_deg_s == 0.0
    assert not list(tmp_path.glob("*.journal"))


def spoilt(shafts: list[Shaft], **parts: Any) -> Callable[[], None]:
    def spoil() -> None:
        shafts[0].parts = replace(shafts[0].parts, **parts)
        shafts[0].turn(shafts[0].asked)

    return spoil


@pytest.mark.parametrize(
    ("parts", "what"),
    [
        ({"motor": "reversed"}, "the wrong way"),
        ({"motor": "stuck"}, "does not follow"),
        ({"magnet": False}, "encoder"),
    ],
)
def test_a_motor_that_goes_bad_on_its_way_is_let_go(
    tmp_path: Path, shafts: list[Shaft], faster: None, parts: dict[str, Any], what: str
) -> None:
    watching = Watching((Doing.OPENING, 1), spoilt(shafts, **parts))
    with pytest.raises(DriveError, match=what):
        driven(tmp_path, "good", watching=watching, travel_deg=80.0)
    assert shafts[0].rate_deg_s == 0.0
    assert not list(tmp_path.iterdir())


def test_ctrl_c_lets_the_motor_go_and_keeps_the_strokes(
    tmp_path: Path, shafts: list[Shaft], faster: None
) -> None:
    capture = driven(tmp_path, "good", watching=Watching((Doing.CLOSING, 2)), travel_deg=80.0)
    assert capture.ended == "stopped"
    assert shafts[0].rate_deg_s == 0.0
    assert not shafts[0].asked
    assert capture.coaching[0].startswith("moved by the rig's motor: 1 stroke of 80")


def test_ctrl_c_before_the_first_stroke_keeps_nothing(
    tmp_path: Path, shafts: list[Shaft], faster: None
) -> None:
    with pytest.raises(KeyboardInterrupt):
        driven(tmp_path, "good", watching=Watching((Doing.SEARCH, 0)))
    assert not shafts[0].asked
    assert not list(tmp_path.iterdir())


def test_a_motor_moves_no_lever_in_a_vehicle_or_on_a_harness(tmp_path: Path) -> None:
    with rig("good") as client:
        for setup in ({"hookup": "tapped"}, {"setting": "vehicle"}):
            base = order(tmp_path)
            asked = replace(base, setup=replace(base.setup, **setup))
            with pytest.raises(HookupError, match="on the bench only"):
                take_driven(client, asked, watch=lambda s: nullcontext(Watching()))


def test_a_full_build_has_no_motor(tmp_path: Path) -> None:
    with (
        opened_rig("sim://good?pace=fast&vm=cpython") as client,
        pytest.raises(HookupError, match="no motor"),
    ):
        take_driven(client, order(tmp_path), watch=lambda s: nullcontext(Watching()))


def test_nothing_turns_before_somebody_confirms(tmp_path: Path, shafts: list[Shaft]) -> None:
    with rig("good", "&rehearse=yes") as client:
        with pytest.raises(SafetyError, match="pinches") as caught:
            take_driven(client, order(tmp_path), watch=lambda s: nullcontext(Watching()), ask=Unattended())
        assert "--confirm clear" in caught.value.next_step
    assert not shafts[0].taken


@pytest.mark.parametrize("travel_deg", [5.0, 175.0, float("nan")])
def test_a_travel_that_no_drive_goes_is_refused(tmp_path: Path, travel_deg: float) -> None:
    with rig("good") as client, pytest.raises(InputError, match="travel"):
        take_driven(client, order(tmp_path), watch=lambda s: nullcontext(Watching()), travel_deg=travel_deg)


def test_a_leg_that_never_ends_has_its_time(
    tmp_path: Path, faster: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sweepboard.drive.SPARE_MS", 10**9)
    monkeypatch.setattr("sweepboard.drive.Drive._stands_still", lambda *_: False)
    monkeypatch.setattr(course, "MOST_DEG", 60.0)
    with pytest.raises(DriveError, match="arrives late"):
        driven(tmp_path, "good", "&home=never")


def test_small_steps_tell_a_good_motor_from_a_bad_one(shafts: list[Shaft]) -> None:
    with rig("good") as client:
        found = small_steps(client)
        assert found.good
        assert [round(s.moved_deg) for s in found.steps] == [5, -5]
        assert not shafts[0].asked
    with rig("good", "&motor=stuck") as client:
        bad = small_steps(client)
        assert not bad.good
        assert "S3" in bad.next_step
        with pytest.raises(DriveError):
            learn(client)
    assert not shafts[1].asked


def test_small_steps_at_the_open_stop_learn_the_direction(shafts: list[Shaft]) -> None:
    with rig("good") as client:
        shafts[0].turn(simulated_drive.TURN_HELD | simulated_drive.TURN_UP | 1024)
        shafts[0].go(5.0)
        shafts[0].turn(0)
        assert shafts[0].deg == 90.0
        at = learn(client)
    assert at.counts == pytest.approx(400 + 85 / DEG, abs=4)
