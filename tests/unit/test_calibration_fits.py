"""A calibration is of one rig, one build and one chip, and was made before what it is used for."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from sweeprig.bench.calibration.verify import due
from sweeprig.bench.review.review import review_capture
from sweeprig.bench.session import calibration_for
from sweeprig.calibration.model import Calibration
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.store import calibration_to_dict, check_fits, load_calibration, save_calibration
from sweeprig.errors import CalibrationFileError
from sweeprig.judge.unseen import rig_marks
from sweeprig.report.facts import calibration_text
from sweeprig.twin.capture import capture_of

RIG = {"uid": "00ff", "build": "full", "chip": "rp2040"}
WHEN = datetime(2031, 3, 4, 10, tzinfo=UTC)
OTHERS = [{"uid": "1234"}, {"build": "plain"}, {"chip": "rp2350"}]


class Board:
    """A rig that says who it is."""

    def __init__(self, **changes: Any) -> None:
        self._hello = RIG | changes

    def hello(self) -> dict[str, Any]:
        return self._hello


def measured(**changes: Any) -> Calibration:
    made = replace(nominal_calibration(RIG), kind="line", made_at=WHEN.isoformat())
    return replace(made, **changes)


@pytest.mark.parametrize("other", OTHERS)
def test_a_calibration_of_another_rig_build_or_chip_is_refused(tmp_path: Path, other: dict[str, str]) -> None:
    calibration = measured(**{"rig_uid" if k == "uid" else k: v for k, v in other.items()})
    path = save_calibration(calibration, folder=tmp_path)
    path.rename(tmp_path / "00ff.json")  # as a copy of another bench's folder has it
    with pytest.raises(CalibrationFileError) as caught:
        calibration_for(Board(), tmp_path)  # type: ignore[arg-type]
    assert next(iter(other.values())) in caught.value.seen
    assert RIG[next(iter(other))] in caught.value.limit
    assert "sweeprig calibrate" in caught.value.next_step


def test_a_rig_whose_own_calibration_is_stored_takes_it(tmp_path: Path) -> None:
    save_calibration(measured(), folder=tmp_path)
    assert calibration_for(Board(), tmp_path).kind == "line"  # type: ignore[arg-type]
    assert calibration_for(Board(uid="77"), tmp_path).kind == "nominal"  # type: ignore[arg-type]
    assert load_calibration("00ff", folder=tmp_path) is not None
    check_fits(measured(), {"uid": "00ff", "build": "full"})  # an old hello names no chip


@pytest.mark.parametrize("other", OTHERS)
def test_a_calibration_in_a_capture_of_another_rig_is_not_used(other: dict[str, str]) -> None:
    taken = capture_of("good", seconds=2.0)
    own = {"uid": str(taken.rig["uid"]), "build": str(taken.rig["build"]), "chip": str(taken.rig["chip"])}
    calibration = replace(nominal_calibration(taken.rig), kind="line", made_at="2026-01-01T00:00:00+00:00")
    kept = review_capture(replace(taken, calibration=calibration_to_dict(calibration)))
    assert kept.calibration is not None
    assert kept.calibration.made_at == calibration.made_at
    was = own | other
    wrong = replace(calibration, rig_uid=was["uid"], build=was["build"], chip=was["chip"])
    if was == own:
        pytest.skip("the simulated rig is of this build and chip")
    outcome = review_capture(replace(taken, calibration=json.loads(json.dumps(calibration_to_dict(wrong)))))
    assert outcome.calibration is not None
    assert outcome.calibration.kind == "nominal"
    assert any("not used" in line and next(iter(other.values())) in line for line in outcome.remarks)


def test_a_calibration_from_the_future_is_told_of() -> None:
    late = measured(made_at=(WHEN + timedelta(days=3)).isoformat())
    (mark,) = rig_marks(late, taken_at=WHEN.isoformat())
    assert "3 days after" in mark
    assert rig_marks(measured(), taken_at=WHEN.isoformat()) == ()
    assert "future" in due(late, now=WHEN)
    taken = capture_of("good", seconds=2.0)
    outcome = review_capture(
        replace(taken, calibration=calibration_to_dict(replace(late, rig_uid=taken.rig["uid"])))
    )
    assert "after the capture" in calibration_text(outcome)
