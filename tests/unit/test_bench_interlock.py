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
    check_drive_known,
    check_engine,
    engine_state,
    pass_interlock,
    settled_system,
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
    with pytest.raises(InputError, match="What drives the vehicle is not known"):
        check_drive("", confirmed=True)
    assert Drive.COMBUSTION in check_drive("combustion", confirmed=False)


@pytest.mark.parametrize("bench", [True, False])
def test_the_bench_is_proposed_by_commands_that_have_one(bench: bool) -> None:
    """An order for a rig without a host (`send`) is for a vehicle only."""
    with pytest.raises(InputError) as refused:
        check_drive_known("", bench=bench)
    assert ("--setting bench" in refused.value.next_step) is bench


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


# 25.2 V at rest, 27 to 29 V while charging in a 24 V system: common practice, no source.


@pytest.mark.parametrize(
    ("battery", "system", "engine"),
    [
        (25.2, "24", Engine.RESTS),
        (24.0, "24", Engine.RESTS),
        (25.6, "24", Engine.RESTS),
        (27.5, "24", Engine.RUNS),
        (28.8, "24", Engine.RUNS),
        (14.0, "24", Engine.UNCLEAR),  # one battery of the two, while it charges
        (12.6, "24", Engine.NOT_MEASURED),
        (12.6, "12", Engine.RESTS),
        (14.0, "12", Engine.RUNS),
        (25.2, "12", Engine.UNCLEAR),
        (28.8, "12", Engine.RUNS),
        (12.6, "", Engine.RESTS),
        (14.0, "", Engine.RUNS),
        (24.0, "", Engine.UNCLEAR),
        (25.6, "", Engine.UNCLEAR),
        (28.8, "", Engine.RUNS),
        (48.0, "", Engine.RUNS),
    ],
)
def test_engine_follows_from_battery_and_system_voltage(battery: float, system: str, engine: Engine) -> None:
    assert engine_state(Evidence(battery, 10), system).engine is engine


def test_a_reading_of_two_meanings_is_refused_in_words() -> None:
    state = engine_state(Evidence(25.2, 10), "")
    with pytest.raises(InterlockError, match="does not say whether the engine runs") as caught:
        check_engine(state, override="")
    assert "at rest in a 24 V system" in caught.value.seen
    assert "--system 24" in caught.value.next_step
    assert "OVERRIDDEN" in check_engine(state, override="known")


def test_the_system_is_asked_for_only_where_it_decides() -> None:
    yes, no = Unattended(("system-24: said",)), Unattended()
    assert settled_system(Evidence(25.2, 10), "", yes) == "24"
    assert settled_system(Evidence(25.2, 10), "", no) == ""
    assert settled_system(Evidence(12.6, 10), "", yes) == ""
    assert settled_system(Evidence(25.2, 10), "12", yes) == "12"
