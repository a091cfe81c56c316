"""A capture that was cut short or taken against the interlock says so wherever its verdict is shown."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from support import outcomes
from support.records_world import numbered
from sweeprig.bench.review.compare import (
    compare,
    compare_json,
    side_of_outcome,
    side_of_record,
)
from sweeprig.bench.review.compare_text import compare_lines
from sweeprig.bench.shop.records import record_json, show_lines, table_lines, to_csv
from sweeprig.cli.main import app
from sweeprig.cli.views.outcome import outcome_lines
from sweeprig.judge.outcome import Outcome
from sweeprig.records.rows import Record
from sweeprig.records.store import open_store


def strained(*, ended: str = "complete", override: str = "") -> Outcome:
    base = numbered(1, override=override)
    assert base.capture is not None
    return replace(base, capture=replace(base.capture, ended=ended))


CASES = [("unplugged", ""), ("stopped", ""), ("complete", "idle was wanted"), ("silent", "idle was wanted")]


@pytest.fixture(params=CASES, ids=["unplugged", "stopped", "override", "both"])
def case(request: pytest.FixtureRequest) -> tuple[Outcome, list[str]]:
    ended, override = request.param
    words = [ended] * (ended != "complete") + ["overrid"] * bool(override)
    return strained(ended=ended, override=override), words


def kept(outcome: Outcome, folder: Path) -> Record:
    with open_store(folder / "r.sqlite") as store:
        store.add(outcome, Path("a.sweep"))
        return store.get(1)


def test_a_review_says_it(case: tuple[Outcome, list[str]]) -> None:
    text = "\n".join(outcome_lines(case[0]))
    assert [w for w in case[1] if w not in text] == []
    plain = "\n".join(outcome_lines(strained()))
    assert "overrid" not in plain
    assert "ended early" not in plain


def test_records_say_it(case: tuple[Outcome, list[str]], tmp_path: Path) -> None:
    record = kept(case[0], tmp_path)
    for text in ("\n".join(table_lines([record])), "\n".join(show_lines(record)), to_csv([record])):
        assert [w for w in case[1] if w not in text] == []
    data = record_json(record)
    assert (data["ended"], data["override"]) == (record.ended, record.override)
    listed = CliRunner().invoke(app, ["records", "list", "--records", str(tmp_path / "r.sqlite")]).stdout
    assert [w for w in case[1] if w not in listed] == []


def test_a_comparison_says_it(case: tuple[Outcome, list[str]], tmp_path: Path) -> None:
    for side in (side_of_outcome(case[0], "a"), side_of_record(kept(case[0], tmp_path))):
        compared = compare(side_of_outcome(outcomes.outcome(), "first"), side)
        text = "\n".join(compare_lines(compared))
        assert [w for w in case[1] if w not in text] == []
        assert compare_json(compared)["second"]["override"] == side.override


def test_an_ordinary_record_has_no_such_word(tmp_path: Path) -> None:
    record = kept(strained(), tmp_path)
    assert "complete" not in table_lines([record])[1]
    assert "ended" not in "\n".join(show_lines(record))
