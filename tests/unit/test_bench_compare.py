"""Comparing two captures."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from support import outcomes
from sweeprig.bench.review.compare import (
    CHANGED,
    NOT_SHOWN,
    Side,
    compare,
    compare_json,
    difference,
    side_of_outcome,
)
from sweeprig.bench.review.compare_text import compare_lines
from sweeprig.words import Sense


def side(value: float | None, u95: float | None, u_a: float | None = None, **more: Any) -> Side:
    base = side_of_outcome(outcomes.outcome(), "one")
    quantity = {"value": value, "u95": u95, "u_a": u_a, "unit": "V"}
    return replace(base, quantities={"closed_v": quantity}, **more)


def finding(code: str, where: tuple[float, float] | None = None, channel: int = 0) -> dict[str, Any]:
    return {"code": code, "cause": "track", "channel": channel, "where_percent": where and list(where)}


def word(a: Side, b: Side) -> str:
    return difference("closed_v", a, b).word


def test_e_n_by_hand() -> None:
    d = difference("closed_v", side(0.450, 3e-3), side(0.455, 4e-3))
    assert d.change == pytest.approx(5e-3)
    assert d.change_u95 == pytest.approx(5e-3)
    assert d.e_n == pytest.approx(1.0)


@pytest.mark.parametrize(("change", "wanted"), [(4.9e-3, NOT_SHOWN), (5.1e-3, CHANGED), (-5.1e-3, CHANGED)])
def test_words_of_a_change(change: float, wanted: str) -> None:
    """U 3 mV and 4 mV give 5 mV: within it nothing is shown, however small the scatter and whatever the rig."""
    assert word(side(0.45, 3e-3, 1e-3), side(0.45 + change, 4e-3, 1e-3)) == wanted


def test_columns_stay_apart_however_wide_a_change_is() -> None:
    a, b = side(-10.45, 1.5e-3, 1e-6), side(14.6789, 1.8e-3, 1e-6)
    (line,) = [t for t in compare_lines(compare(a, b)) if t.startswith("  closed throttle")]
    assert "  +25.1289 ± 0.0023 V  " in line
    assert re.search(r" V  +\+\d+\.\d\d  changed$", line)


@pytest.mark.parametrize("width", [60, 80, 100, 120])
def test_both_volts_are_shown_at_every_width(width: int) -> None:
    base = side_of_outcome(outcomes.outcome(), "one")
    text = compare_lines(compare(base, base), width)
    assert all(len(line) <= width for line in text)
    closed = next(k for k, t in enumerate(text) if t.startswith("  closed throttle"))
    assert " ".join(text[closed : closed + 2]).count("0.4520 ± 0.0018 V") == 2


def test_a_margin_is_told_from_the_level_of_its_end() -> None:
    base = side_of_outcome(outcomes.outcome(), "one")
    assert "  The volts are the end's own reading, not its distance from ground or supply." in compare_lines(
        compare(base, base)
    )


def test_what_one_side_did_not_measure_has_no_change() -> None:
    d = difference("closed_v", side(None, None), side(0.45, 1e-3))
    assert (d.change, d.e_n, d.word) == (None, None, "")
    assert difference("closed_v", side(0.4, None), side(0.45, 1e-3)).e_n is None


def test_findings_gone_new_and_moved() -> None:
    first = side(
        1, 1, findings=(finding("worn-spot", (28, 33)), finding("supply-sag"), finding("rough-track"))
    )
    second = side(
        1,
        1,
        findings=(
            finding("worn-spot", (70, 72)),
            finding("supply-sag"),
            finding("rough-track", channel=1),
        ),
    )
    c = compare(first, second)
    assert [(f["code"], f["where_percent"]) for f in c.gone] == [
        ("worn-spot", [28, 33]),
        ("rough-track", None),
    ]
    assert [(f["code"], f["where_percent"]) for f in c.new] == [
        ("worn-spot", [70, 72]),
        ("rough-track", None),
    ]
    assert [f["code"] for f in c.stayed] == ["supply-sag"]
    touching = compare(first, replace(second, findings=(finding("worn-spot", (33, 40)),)))
    assert [f["code"] for f in touching.stayed] == ["worn-spot"]


def test_before_and_after_of_a_repair() -> None:
    before = side_of_outcome(outcomes.outcome(worn=True), "before.sweep")
    after = side_of_outcome(outcomes.outcome(), "after.sweep")
    c = compare(before, after)
    assert c.same_rig_and_calibration
    assert [d.name for d in c.differences if d.name.endswith("_v")] == [
        "closed_v",
        "open_v",
        "span_v",
        "supply_v",
    ]
    assert all(d.word == NOT_SHOWN for d in c.differences)
    text = "\n".join(compare_lines(c))
    assert "FAIL: Worn spot" in text
    assert "Gone\n  worn-spot (cause: track) at 28 to 33 % of travel" in text
    assert "closed  ground  0.4520 V pass  ->  0.4520 V pass" in text
    data = compare_json(c)
    assert data["differences"][0]["e_n"] == 0
    assert data["findings_gone"][0]["code"] == "worn-spot"


def test_notes_name_what_does_not_compare() -> None:
    a = side_of_outcome(outcomes.outcome(), "a")
    b = replace(a, rig_uid="another", profile="hall", sensor="another")
    notes = " ".join(compare(a, b).notes)
    assert "profiles differ: adjustable-potentiometer, then hall" in notes
    assert "Different sensors: " in notes
    assert "Two rigs" in notes
    assert not compare(a, replace(a, calibration="line 2030")).same_rig_and_calibration
    assert not compare(replace(a, rig_uid=""), replace(a, rig_uid="")).same_rig_and_calibration


def test_ends_without_a_sense_are_low_and_high() -> None:
    a = side_of_outcome(outcomes.outcome(sense=Sense.UNKNOWN), "a")
    b = side_of_outcome(outcomes.outcome(), "b")
    names = [d.name for d in compare(a, b).differences]
    assert "low_v" in names
    assert "closed_v" not in names


def test_volts_of_margins_say_what_they_hold_for() -> None:
    a = side_of_outcome(outcomes.outcome(), "a")
    assert "Margins to ground and supply (volts as measured)" in compare_lines(compare(a, a))
    b = replace(a, margins=tuple({**m, "measured_v": 0.43} for m in a.margins))
    assert "Margins to ground and supply (volts converted to the nominal supply)" in compare_lines(
        compare(a, b)
    )
