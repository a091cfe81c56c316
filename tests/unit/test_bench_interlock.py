"""The interlock: its evidence, what it refuses, and that battery volts never prove anything more."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from sweeprig.bench.hookup.cautions import Unattended
from sweeprig.bench.hookup.interlock import (
    Drive,
    Engine,
    Evidence,
    check_drive,
    check_engine,
    engine_state,
    evidence_of,
    pass_interlock,
)
from sweeprig.errors import InputError, InterlockError

WHEN = datetime(2031, 3, 4, 10, 15, tzinfo=UTC)

# 12.6 V at rest, 13.5 to 14.7 V while charging: common practice, no source.


@pytest.mark.parametrize(
    ("battery", "ripple", "engine"),
    [
        (12.6, None, Engine.RESTS),
        (13.1, None, Engine.RESTS),
        (13.5, None, Engine.RUNS),
        (14.7, None, Engine.RUNS),
        (12.6, 0.4, Engine.RUNS),
        (12.6, 0.02, Engine.RESTS),
        (None, None, Engine.NOT_MEASURED),
        (None, 0.02, Engine.NOT_MEASURED),
        (None, 0.4, Engine.RUNS),
    ],
)
def test_engine_follows_from_what_was_measured(
    battery: float | None, ripple: float | None, engine: Engine
) -> None:
    assert engine_state(Evidence(battery, 10, ripple)).engine is engine


def test_engine_at_rest_proves_nothing_about_moving() -> None:
    assert any("never prove" in line for line in engine_state(Evidence(12.6, 10)).lines)


def test_slow_battery_readings_give_no_ripple() -> None:
    assert any("Ripple not measured" in line for line in engine_state(Evidence(12.6, 10)).lines)


def test_bad_readings_do_not_count() -> None:
    evidence = evidence_of([12_600_000, 99_000_000, 12_610_000], good=[True, False, True])
    assert evidence.battery_v == pytest.approx(12.61)
    assert evidence.n_readings == 2
    assert evidence_of([14_000_000], good=[False]).battery_v is None


@pytest.mark.parametrize("drive", ["stop-start", "hybrid", "electric"])
def test_drives_that_start_by_themselves_need_securing(drive: str) -> None:
    with pytest.raises(InterlockError, match="unless it is secured") as caught:
        check_drive(drive, confirmed=False)
    assert "never prove" in caught.value.seen
    assert "qualified person" in check_drive(drive, confirmed=True)


def test_override_does_not_stand_in_for_securing() -> None:
    with pytest.raises(InterlockError, match="unless it is secured"):
        pass_interlock(
            drive="electric", evidence=Evidence(12.6, 10), override="in a hurry", job="", book=None,
            ask=Unattended(), when=WHEN,
        )  # fmt: skip
    lines = pass_interlock(
        drive="electric", evidence=Evidence(12.6, 10), override="", job="", book=None,
        ask=Unattended(("secured",)), when=WHEN,
    )  # fmt: skip
    assert "secured by its own procedure" in lines[0]


def test_drive_that_nobody_named_is_asked_for() -> None:
    with pytest.raises(InputError, match="vehicle's drive is not known"):
        check_drive("", confirmed=True)
    assert Drive.COMBUSTION in check_drive("combustion", confirmed=False)


def test_refusal_shows_evidence_blank_reason_overrides_nothing() -> None:
    state = engine_state(Evidence(14.2, 10))
    with pytest.raises(InterlockError) as caught:
        check_engine(state, override="  ")
    assert "14.20 V" in caught.value.seen
    assert "one sweep" in caught.value.next_step
    assert "OVERRIDDEN" in check_engine(state, override="idle test")


@pytest.mark.parametrize("volts", [0.02, 1.77, 5.9, float("nan")])
def test_battery_lead_that_shows_no_battery_measures_no_engine(volts: float) -> None:
    state = engine_state(Evidence(volts, 10))
    assert state.engine is Engine.NOT_MEASURED
    assert "Engine state NOT measured" in state.lines[0]
    assert f"{volts:.2f} V" in state.lines[0]
    assert check_engine(state, override="") == "Interlock: engine not measured."
    assert not any("No sign" in line for line in state.lines)
