"""What a CSV leaves unknown: what measured it, who fed the sensor, and where ground was."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from sweeprig.analysis.model import Code
from sweeprig.bench.review.result import schema, to_result
from sweeprig.bench.review.review import review_capture, review_csv
from sweeprig.cli.views.outcome import outcome_lines
from sweeprig.judge.outcome import Outcome
from sweeprig.report.sheet import sheet_html
from sweeprig.twin.capture import capture_of

WIDER_V = (4.2, 5.3)  # limits.supply is 4.75 to 5.25 V, limits.supply_powered 4.2 to 5.3 V: of the profile


def _course(t_s: float) -> float:
    """Share of the travel: a second at each stop, a second between them."""
    at = t_s % 4.0
    return 0.0 if at < 1 else at - 1 if at < 2 else 1.0 if at < 3 else 4 - at


def _reviewed(folder: Path, supply_v: float, wobble_v: float = 0.0) -> Outcome:
    """A table without noise whose supply never moves, or goes up and down by `wobble_v` from row to row."""
    rows = ["time_s,signal_v,supply_v"]
    for i in range(1700):
        signal = supply_v * (0.09 + 0.78 * _course(i / 100))
        rows.append(f"{i / 100:.2f},{signal:.4f},{supply_v + wobble_v * (-1) ** i:.4f}")
    table = folder / "table.csv"
    table.write_text("\n".join(rows), encoding="utf-8")
    return review_csv(table)


def test_supply_without_scatter_has_no_known_uncertainty(tmp_path: Path) -> None:
    outcome = _reviewed(tmp_path, 5.0)
    line = next(t for t in outcome_lines(outcome) if t.startswith("  supply"))
    assert line == "  supply                       5.0000 V ± not known"
    assert "0.0000" not in "\n".join(outcome_lines(outcome))
    page = sheet_html(outcome)
    assert "± not known" in page
    assert "±0.00 mV" not in page
    result = to_result(outcome)
    Draft202012Validator(schema()).validate(result)
    assert result["supply_v"]["value"] == pytest.approx(5.0)
    assert result["supply_v"]["u95"] is None
    assert "not known" in result["supply_v"]["reason"]
    check = next(c for c in result["checks"] if c["name"] == "supply")
    assert check["u95"] is None
    assert check["verdict"] == "pass", "covers only the noise and the steps"
    assert result["closed_v"]["u95"] > 0, "the resolution of the table is known"
    assert "covers only the noise and the steps" in " ".join(outcome.judgement.not_shown)


@pytest.mark.parametrize(("wobble_v", "said"), [(0.0, True), (0.002, False)])
def test_a_supply_of_one_number_is_listed(tmp_path: Path, wobble_v: float, said: bool) -> None:
    """Its steps are in no interval: of 29 ratios measured beside steps of 20 mV, 14 held."""
    listed = " ".join(_reviewed(tmp_path, 5.0, wobble_v).judgement.not_shown)
    assert ("all of them are 5.000 V, so the \N{PLUS-MINUS SIGN} of the ratios" in listed) is said


def test_a_supply_with_scatter_keeps_its_interval(tmp_path: Path) -> None:
    q = _reviewed(tmp_path, 5.0, wobble_v=0.002).judgement.quantities["supply_v"]
    assert q.u95 is not None
    assert q.u95 > 0
    assert not q.reason


def test_schema_wants_a_reason_beside_a_null_uncertainty(tmp_path: Path) -> None:
    result = to_result(_reviewed(tmp_path, 5.0))
    del result["supply_v"]["reason"]
    assert list(Draft202012Validator(schema()).iter_errors(result))


@pytest.mark.parametrize("supply_v", [4.3, 4.6, 5.28])
def test_a_supply_that_a_rig_may_give_is_no_fault_of_a_csv(tmp_path: Path, supply_v: float) -> None:
    outcome = _reviewed(tmp_path, supply_v)
    check = next(c for c in outcome.judgement.checks if c.name == "supply")
    assert (check.low, check.high) == WIDER_V
    assert "not known" in check.source
    assert outcome.judgement.verdict == "pass"
    said = next(t for t in outcome.judgement.not_shown if t.startswith("Supply against"))
    assert "4.2 to 5.3 V" in said
    assert "From a controller: 4.75 to 5.25 V" in said


def test_supply_outside_both_limits_blames_nobody(tmp_path: Path) -> None:
    outcome = _reviewed(tmp_path, 3.9)
    found = next(f for f in outcome.judgement.findings if f.code is Code.SUPPLY_OUT_OF_RANGE)
    assert outcome.judgement.verdict == "fail"
    assert "USB" not in found.next_step
    assert "controller" not in found.next_step


def test_the_sheet_of_a_csv_names_no_hookup(tmp_path: Path) -> None:
    page = sheet_html(_reviewed(tmp_path, 5.0))
    assert "powered, on the bench" not in page
    assert "not known: no rig took this data" in page


def test_ground_is_said_to_be_unseen_for_the_reason_there_is(tmp_path: Path) -> None:
    def said(outcome: Outcome) -> str:
        (text,) = (t for t in outcome.judgement.not_shown if t.startswith("Ground offset"))
        return text

    powered = said(review_capture(capture_of("good", seed=1, seconds=3.0, build="full")))
    assert "not visible while the rig powers the sensor" in powered
    tapped = replace(capture_of("good", seed=1, seconds=3.0, build="full", hookup="tapped"), slow=())
    assert said(review_capture(tapped)) == "Ground offset: not observed. Add the separate ground sense lead."
    table = said(_reviewed(tmp_path, 5.0))
    assert table.startswith("Ground offset: not in the data.")
