"""A trim is of one rig, one build and one chip, and was made before what it is used for."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from sweeprig.bench.review.review import review_capture
from sweeprig.bench.session import trim_for
from sweeprig.bench.trim.verify import due
from sweeprig.errors import TrimFileError
from sweeprig.judge.unseen import rig_marks
from sweeprig.report.facts import trim_text
from sweeprig.trim.model import Trim
from sweeprig.trim.nominal import nominal_trim
from sweeprig.trim.store import check_fits, load_trim, save_trim, trim_to_dict
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


def measured(**changes: Any) -> Trim:
    made = replace(nominal_trim(RIG), kind="line", made_at=WHEN.isoformat())
    return replace(made, **changes)


@pytest.mark.parametrize("other", OTHERS)
def test_a_trim_of_another_rig_build_or_chip_is_refused(tmp_path: Path, other: dict[str, str]) -> None:
    trim = measured(**{"rig_uid" if k == "uid" else k: v for k, v in other.items()})
    path = save_trim(trim, folder=tmp_path)
    path.rename(tmp_path / "00ff.json")  # as a copy of another bench's folder has it
    with pytest.raises(TrimFileError) as caught:
        trim_for(Board(), tmp_path)  # type: ignore[arg-type]
    assert next(iter(other.values())) in caught.value.seen
    assert RIG[next(iter(other))] in caught.value.limit
    assert "sweeprig trim" in caught.value.next_step


def test_a_rig_whose_own_trim_is_stored_takes_it(tmp_path: Path) -> None:
    save_trim(measured(), folder=tmp_path)
    assert trim_for(Board(), tmp_path).kind == "line"  # type: ignore[arg-type]
    assert trim_for(Board(uid="77"), tmp_path).kind == "nominal"  # type: ignore[arg-type]
    assert load_trim("00ff", folder=tmp_path) is not None
    check_fits(measured(), {"uid": "00ff", "build": "full"})  # an old hello names no chip


@pytest.mark.parametrize("other", OTHERS)
def test_a_trim_in_a_capture_of_another_rig_is_not_used(other: dict[str, str]) -> None:
    taken = capture_of("good", seconds=2.0)
    own = {"uid": str(taken.rig["uid"]), "build": str(taken.rig["build"]), "chip": str(taken.rig["chip"])}
    trim = replace(nominal_trim(taken.rig), kind="line", made_at="2026-01-01T00:00:00+00:00")
    kept = review_capture(replace(taken, trim=trim_to_dict(trim)))
    assert kept.trim is not None
    assert kept.trim.made_at == trim.made_at
    was = own | other
    wrong = replace(trim, rig_uid=was["uid"], build=was["build"], chip=was["chip"])
    if was == own:
        pytest.skip("the simulated rig is of this build and chip")
    outcome = review_capture(replace(taken, trim=json.loads(json.dumps(trim_to_dict(wrong)))))
    assert outcome.trim is not None
    assert outcome.trim.kind == "nominal"
    assert any("not used" in line and next(iter(other.values())) in line for line in outcome.remarks)


def test_a_trim_from_the_future_is_told_of() -> None:
    late = measured(made_at=(WHEN + timedelta(days=3)).isoformat())
    (mark,) = rig_marks(late, taken_at=WHEN.isoformat())
    assert "3 days after" in mark
    assert rig_marks(measured(), taken_at=WHEN.isoformat()) == ()
    assert "future" in due(late, now=WHEN)
    taken = capture_of("good", seconds=2.0)
    outcome = review_capture(replace(taken, trim=trim_to_dict(replace(late, rig_uid=taken.rig["uid"]))))
    assert "after the capture" in trim_text(outcome)
