"""What the terminal shows of an outcome."""

from __future__ import annotations

from dataclasses import replace

from support.outcomes import outcome
from sweeprig.cli.views.outcome import outcome_lines


def strokes_line(full: tuple[bool, ...]) -> str:
    made = outcome()
    strokes = tuple(replace(s, full=f) for s, f in zip(made.analysis.strokes, full, strict=False))
    shown = replace(made, analysis=replace(made.analysis, strokes=strokes))
    return next(t.strip() for t in outcome_lines(shown) if t.startswith("  strokes  "))


def test_strokes_that_reach_both_ends_are_told_from_the_others() -> None:
    assert strokes_line((True, True, True)).split() == ["strokes", "3"]
    assert strokes_line((True, False, True)).endswith("3, 2 of them from end to end")


def test_one_stroke_is_one_stroke() -> None:
    from sweeprig.cli.views.outcome import check_line
    from sweeprig.judge.model import Check, Verdict

    one = Check("strokes", 1.0, None, "strokes", 3.0, None, Verdict.UNDECIDED)
    assert "1 stroke  " in check_line(one)
    assert "at least 3 strokes" in check_line(one)
