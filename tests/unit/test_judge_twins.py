"""The verdict on each simulated sensor, all the way from its codes, on a rig that was never calibrated."""

from __future__ import annotations

from functools import lru_cache

import pytest

from sweeprig.analysis.model import Cause, Code
from sweeprig.bench.review.review import Choices, review_capture
from sweeprig.judge.model import Judgement, Verdict
from sweeprig.judge.outcome import Outcome
from sweeprig.twin.capture import capture_of, play

PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED


@lru_cache(maxsize=32)
def reviewed(name: str) -> Outcome:
    return review_capture(play(name, seed=3, seconds=6.0, build="full").capture)


@pytest.mark.parametrize(
    "name", ["good", "hall", "spring-return", "two-tracks-half-scale", "two-tracks-opposed"]
)
def test_good_ones_pass(name: str) -> None:
    judged = reviewed(name).judgement
    assert judged.verdict is PASS, judged.reason
    assert judged.reservation.startswith("Tested in ")


@pytest.mark.parametrize(
    ("name", "code", "cause"),
    [
        ("near-upper-rail", Code.MARGIN_OPEN, Cause.MOUNTING),
        ("near-lower-rail", Code.MARGIN_OPEN, Cause.MOUNTING),  # a falling one
        ("badly-mounted", Code.MARGIN_CLOSED, Cause.MOUNTING),
        ("dead-band-closed", Code.DEAD_BAND_CLOSED, Cause.MOUNTING),
        ("dead-band-open", Code.DEAD_BAND_OPEN, Cause.MOUNTING),
        ("worn", Code.WORN_SPOT, Cause.TRACK),
        ("supply-dropouts", Code.SUPPLY_DROPOUT, Cause.SUPPLY),
        ("loose-connector", Code.LOOSE_CONNECTION, Cause.CONNECTION),
        ("two-tracks-shorted", Code.TRACKS_SHORTED, Cause.WIRING),
        ("two-tracks-correlation", Code.TRACKS_DISAGREE, Cause.TRACK),
        ("shorted-to-supply", Code.STUCK_HIGH, Cause.WIRING),
    ],
)
def test_bad_ones_fail_for_their_own_reason(name: str, code: Code, cause: Cause) -> None:
    judged = reviewed(name).judgement
    assert judged.verdict is FAIL
    assert (judged.findings[0].code, judged.findings[0].cause) == (code, cause)
    assert f"(cause: {cause.value})" in judged.reason


@pytest.mark.parametrize("name", ["pwm", "digital", "switch", "over-range", "over-range-12v"])
def test_what_is_no_signal_for_this_rig_is_undecided(name: str) -> None:
    judged = reviewed(name).judgement
    assert judged.verdict is UNDECIDED, judged.reason
    assert judged.margins == ()


def test_a_single_spike_neither_fails_nor_passes() -> None:
    judged = reviewed("one-spike").judgement
    assert judged.verdict is UNDECIDED
    assert "stray dropout" in judged.reason.lower()


def test_every_judgement_has_a_reason_and_finite_numbers() -> None:
    for name in ("good", "worn", "pwm", "shorted-to-supply"):
        judged = reviewed(name).judgement
        assert judged.reason.endswith(".")
        for q in judged.quantities.values():
            assert (q.value is None) == bool(q.reason)
            assert (q.value is None) == (q.u95 is None)


def closed_volts(judged: Judgement) -> float:
    value = judged.quantities["closed_v"].value
    assert value is not None
    return value


def test_profile_and_guard_band_change_the_verdict_alone() -> None:
    capture = play("good", seed=3, seconds=6.0, build="full").capture
    fixed = review_capture(capture, Choices(profile="hall", guard_factor=0.0)).judgement
    assert fixed.profile_name == "hall"
    assert fixed.guard_factor == 0.0
    assert closed_volts(fixed) == closed_volts(reviewed("good").judgement)


@pytest.mark.parametrize("seed", range(14))
def test_a_ground_that_shifts_for_a_while_is_never_passed(seed: int) -> None:
    """Powered from the rig nothing measures the ground: one rest 0.2 V short of the stop is all that shows it."""
    outcome = review_capture(capture_of("ground-shift", seed=seed, seconds=6.5, build="full"))
    assert outcome.judgement.verdict is Verdict.UNDECIDED
    assert {f.code for f in outcome.judgement.findings} == {Code.ENDS_NOT_REPEATED}
    assert outcome.judgement.findings[0].severity == "doubt"
