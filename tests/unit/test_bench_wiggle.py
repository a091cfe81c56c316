"""Events while a harness is moved: told while they come, put to places and to causes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.day_traces import flat_trace, with_dip
from support.diary import run
from support.outcomes import outcome
from sweeprig.analysis.channel_events import events_of
from sweeprig.analysis.model import Cause, Code, Event, Finding
from sweeprig.analysis.wiggle import Happening, Origin, Touched, Wiggled, origin, wiggled
from sweeprig.bench.readings.search import LiveSearch
from sweeprig.bench.wiggle.text import parse_marks, summary_lines, wiggle_json, within
from sweeprig.capture.marks import MarkAt, mark_text, marks_in, marks_of
from sweeprig.capture.model import Trace
from sweeprig.cli.views.wiggle import wiggle_lines
from sweeprig.errors import InputError
from sweeprig.judge.model import Verdict
from sweeprig.judge.profile import load_profile
from sweeprig.judge.wiggle import as_wiggle, findings
from sweeprig.link.messages import Mark
from sweeprig.report.evidence import event_rows
from sweeprig.report.figures import at_clause
from sweeprig.report.room import TIGHT
from sweeprig.report.sheet import sheet_html

PROFILE = load_profile("adjustable-potentiometer")


def event(at_s: float, channel: int = 0, *, kind: str = "to-ground", with_supply: bool = False) -> Event:
    return Event(at_s, 2e-4, channel, kind, 40.0, None, None, True, with_supply, 30.0)


def result(*events: Event, marks: tuple[MarkAt, ...] = (), far_end: bool = False):
    return wiggled(events, marks, seconds=30.0, far_end=far_end, least_percent=0.3)


def cut(trace: Trace, a: float, b: float) -> Trace:
    keep = (trace.t_s >= a) & (trace.t_s < b)
    from sweeprig.capture.model import Channel

    def part(c: Channel | None) -> Channel | None:
        return None if c is None else Channel(c.mean_v[keep], c.min_v[keep], c.max_v[keep])

    return replace(
        trace,
        t_s=trace.t_s[keep],
        signal_a=part(trace.signal_a),
        signal_b=part(trace.signal_b),
        supply=part(trace.supply),
        gap_before=trace.gap_before[keep],
    )


@pytest.mark.parametrize("step_s", [0.1, 0.2, 0.7])
def test_live_search_tells_each_event_once_whatever_the_pieces(step_s: float) -> None:
    trace = flat_trace(0.45, seconds=6.0)
    for at in (1.0, 2.5, 2.501, 4.1):
        trace = with_dip(trace, at)
    search = LiveSearch(PROFILE)
    at = 0.0
    while at < 5.99:
        search.feed(cut(trace, at, at + step_s))
        at += step_s
    assert [round(h.start_s, 1) for h in search.found] == [1.0, 2.5, 4.1]
    assert search.last_s == pytest.approx(4.1, abs=0.01)


def test_live_search_sees_nothing_in_a_clean_signal() -> None:
    search = LiveSearch(PROFILE)
    for k in range(60):
        search.feed(flat_trace(0.45, start_s=0.2 * k, seconds=0.2, seed=k))
    assert search.found == []


def test_marks_by_key_or_button_go_to_the_events_after_them() -> None:
    search = LiveSearch(PROFILE)
    assert search.next_place() == "plug"
    search.feed(with_dip(flat_trace(0.45, seconds=1.0), 0.5))
    search.feed(flat_trace(0.45, start_s=1.0, seconds=1.0))
    assert search.next_place() == "bulkhead"
    search.feed(with_dip(flat_trace(0.45, start_s=2.0, seconds=1.0), 2.5))
    search.feed(flat_trace(0.45, start_s=3.0, seconds=1.0))
    assert [h.place for h in search.found] == ["plug", "bulkhead"]
    assert [search.next_place(), search.next_place()] == ["controller end", "plug"]


def test_supply_event_is_told_from_a_signal_event_by_coincidence() -> None:
    both = with_dip(with_dip(flat_trace(0.45, seconds=2.0), 1.0), 1.0, channel="supply")
    alone = with_dip(flat_trace(0.45, seconds=2.0), 1.0)
    assert {e.with_supply for e in events_of(both)} == {True}
    assert {e.with_supply for e in events_of(alone)} == {False}
    assert result(*events_of(both)).happenings[0].touched is Touched.SUPPLY
    assert result(*events_of(alone)).happenings[0].touched is Touched.TO_GROUND


@pytest.mark.parametrize(
    ("kind", "touched"),
    [
        ("to-ground", Touched.TO_GROUND),
        ("to-supply", Touched.TO_SUPPLY),
        ("partial", Touched.PARTIAL),
        ("jump", Touched.JUMP),
    ],
)
def test_what_was_touched_follows_from_where_it_went(kind: str, touched: Touched) -> None:
    assert result(event(1.0, kind=kind)).happenings[0].touched is touched


def test_far_end_logic_in_full() -> None:
    assert origin((1,), with_supply=False) is Origin.HARNESS  # clean A, jumping B
    assert origin((0, 1), with_supply=False) is Origin.UPSTREAM
    assert origin((0,), with_supply=False) is Origin.LEAD_A
    assert origin((0, 1, 2), with_supply=True) is Origin.SUPPLY
    w = result(event(1.0, 1), event(5.0, 0), event(5.0005, 1), far_end=True)
    assert [h.origin for h in w.happenings] == [Origin.HARNESS, Origin.UPSTREAM]
    assert result(event(1.0, 1)).happenings[0].origin is Origin.NOT_ASKED


def test_events_are_counted_and_timed_per_place() -> None:
    marks = (MarkAt(5.0, "plug"), MarkAt(20.0, "bulkhead"))
    w = result(event(1.0), event(6.0), event(7.0), event(21.0), marks=marks)
    assert w.per_place == {"plug": 2, "bulkhead": 1, "not marked": 1}
    assert w.seconds_per_place == {"not marked": 5.0, "plug": 15.0, "bulkhead": 10.0}


def test_shallow_events_do_not_count() -> None:
    assert not result(replace(event(1.0), depth_percent=0.2)).reproduced


def test_nothing_seen_is_not_reproduced_and_never_a_pass() -> None:
    text = "\n".join(summary_lines(result()))
    assert text.startswith("NOT REPRODUCED")
    assert "not a pass" in text
    assert wiggle_json(result())["result"] == "not reproduced"
    clean = outcome()
    still = replace(clean, analysis=replace(clean.analysis, events=()), profile=PROFILE)
    judged, w = as_wiggle(still)
    assert not w.reproduced
    assert judged.judgement.verdict is Verdict.UNDECIDED
    assert "Not reproduced" in judged.judgement.reason


@pytest.mark.parametrize(("ended", "said"), [("unplugged", True), ("complete", False), ("stopped", False)])
@pytest.mark.parametrize("events", [(), (1.0,)])
def test_a_lost_board_is_told_of_a_wiggle(events: tuple[float, ...], ended: str, said: bool) -> None:
    text = "\n".join(summary_lines(result(*map(event, events)), ended))
    assert ("The test ended early (unplugged)" in text) == said


def many_events() -> Wiggled:
    places = ("bulkhead",) * 8 + ("plug",) * 24 + ("controller end",) * 16
    hits = tuple(
        Happening(0.25 * k, 2e-3, (0,), 9.0 + (k % 7), Touched.TO_GROUND, place)
        for k, place in enumerate(places)
    )
    per = {p: places.count(p) for p in ("bulkhead", "plug", "controller end")}
    return Wiggled(hits, 12.0, per, dict.fromkeys(per, 4.0), far_end=False)


def test_many_events_come_to_a_few_short_lines() -> None:
    lines = summary_lines(many_events())
    assert lines[0] == "48 events in 12 s."
    assert all(len(line) <= 60 for line in lines)
    deepest = [line for line in lines if " ms" in line]
    assert len(deepest) == 5
    assert all("15 % of supply, to ground" in line for line in deepest)
    assert lines[-1].strip() == "All 48 are on the sheet; --json lists them too."


def test_the_place_with_most_events_is_looked_at_first() -> None:
    (found,) = findings(many_events())
    assert "at plug, controller end, bulkhead" in found.next_step
    assert "24 at plug, 16 at controller end, 8 at bulkhead" in found.evidence


def test_time_spent_at_a_place_makes_it_no_culprit() -> None:
    spent = {"bulkhead": 1.4, "plug": 24.0, "controller end": 1.7}
    w = replace(many_events(), seconds_per_place=spent)
    (found,) = findings(w)
    assert "at controller end, bulkhead, plug" in found.next_step
    assert "16 at controller end, 8 at bulkhead, 24 at plug" in found.evidence
    text = "\n".join(summary_lines(w))
    assert "controller end   16 in 1.7 s, 9.4 a second" in text
    assert "plug             24 in 24.0 s, 1.0 a second" in text


def test_one_event_in_a_moment_makes_no_place_the_worst() -> None:
    w = replace(many_events(), seconds_per_place={"bulkhead": 0.01, "plug": 1.0, "controller end": 1.0})
    assert "at plug, controller end, bulkhead" in findings(w)[0].next_step


@pytest.mark.parametrize("touched", [Touched.TO_GROUND, Touched.TO_SUPPLY])
def test_a_cut_on_the_first_page_leaves_both_causes(touched: Touched) -> None:
    w = many_events()
    hits = tuple(replace(h, touched=touched) for h in w.happenings)
    (found,) = findings(replace(w, happenings=hits))
    assert str(touched) in at_clause(found.evidence, TIGHT.evidence)
    if touched is Touched.TO_GROUND:
        assert at_clause(found.next_step, TIGHT.next_step).endswith("wiggle again.")


def test_the_operator_is_told_where_to_rest_the_lever() -> None:
    told = run(
        "wiggle", "--seconds", "3", "--sheet", "none", "--port", "sim://good?pace=fast&vm=cpython&hand=still"
    )
    at = told.stderr.index("Hold the lever about half way")
    assert at < told.stderr.index("Sensor supply still off")


def test_events_fail_with_their_place_and_next_step() -> None:
    base = outcome()
    seen = replace(
        base,
        analysis=replace(base.analysis, events=(event(1.0), event(2.0))),
        profile=PROFILE,
        capture=replace(base.capture, coaching=(mark_text(MarkAt(0.5, "bulkhead")),)),
    )
    judged, w = as_wiggle(seen)
    assert judged.judgement.verdict is Verdict.FAIL
    assert w.per_place == {"bulkhead": 2}
    finding = judged.judgement.findings[0]
    assert (finding.code, finding.cause) == (Code.LOOSE_CONNECTION, Cause.CONNECTION)
    assert "2 at bulkhead" in finding.evidence
    assert "bulkhead" in finding.next_step


def test_findings_of_a_sweep_do_not_stand_in_a_wiggle_result() -> None:
    base = outcome()
    moved = Finding(Code.NO_MOVEMENT, Cause.MOUNTING, 0, None, "still", "move it")
    lost = Finding(Code.RECORDS_LOST, Cause.RIG, None, None, "lost", "cable", "note")
    both = replace(base, judgement=replace(base.judgement, findings=(moved, lost)), profile=PROFILE)
    judged, _ = as_wiggle(replace(both, analysis=replace(both.analysis, events=())))
    assert [f.code for f in judged.judgement.findings] == [Code.RECORDS_LOST]
    assert judged.judgement.margins == ()


def test_supply_and_ground_have_causes_of_their_own() -> None:
    found = findings(result(event(1.0, with_supply=True), event(2.0, kind="to-supply")))
    assert {(f.code, f.cause) for f in found} == {
        (Code.SUPPLY_DROPOUT, Cause.SUPPLY),
        (Code.LOOSE_CONNECTION, Cause.GROUND),
    }


def test_marks_survive_as_text_and_button_marks_are_read_too() -> None:
    marks = [MarkAt(0.5, "plug"), MarkAt(12.25, "controller end")]
    assert marks_in([*map(mark_text, marks), "slow open", "now at noon s: x"]) == marks
    capture = outcome().capture
    assert capture is not None
    pressed = replace(capture, coaching=(), marks=(Mark(1000, 0, 1), Mark(2000, 0, 2)))
    assert [m.place for m in marks_of(pressed)] == ["plug", "bulkhead"]
    assert marks_of(pressed)[0].at_s == pytest.approx(1000 * 166 * 3 / 500_000)


def test_typed_marks_are_understood_or_refused() -> None:
    assert parse_marks("0:plug, 10:controller end") == [MarkAt(0.0, "plug"), MarkAt(10.0, "controller end")]
    for text in ("plug", "x:plug", "5:", "nan:plug", "-1:plug", "inf:plug"):
        with pytest.raises(InputError, match="mark is not valid"):
            parse_marks(text)


def test_marks_after_the_end_are_named_and_left_out() -> None:
    marks = parse_marks("0:plug,90:bulkhead,5:controller end")
    kept, said = within(marks, 5.0)
    assert kept == [MarkAt(0.0, "plug")]
    assert "ends at 5 s" in said
    assert "90:bulkhead, 5:controller end" in said
    assert within(marks, 120.0) == (marks, "")


def test_place_in_force_is_that_of_the_time_not_of_the_last_mark() -> None:
    search = LiveSearch(PROFILE, marks=[MarkAt(0.0, "plug"), MarkAt(50.0, "controller end")])
    search.feed(flat_trace(0.45, seconds=1.0))
    assert search.place == "plug"
    assert any("now: plug" in line for line in wiggle_lines(search, 60.0, 80, 24))
    assert search.next_place() == "bulkhead"


def test_nothing_of_a_sweep_is_judged_where_the_lever_moved() -> None:
    base = outcome()
    assert base.analysis.strokes
    assert {c.name for c in base.judgement.checks} > {"strokes", "span", "supply"}
    judged, _ = as_wiggle(base)
    assert judged.analysis.strokes == ()
    assert judged.analysis.rests == ()
    assert [c.name for c in judged.judgement.checks] == ["supply"]
    assert judged.judgement.quantities["supply_v"].value is not None
    assert judged.judgement.quantities["closed_v"].value is None
    assert "wiggle test" in judged.judgement.quantities["closed_v"].reason
    text = sheet_html(judged)
    assert "of them full" not in text
    assert "Full strokes" not in text


def test_sheet_puts_each_event_to_its_place() -> None:
    base = outcome()
    marked = replace(base.capture, coaching=(mark_text(MarkAt(0.5, "bulkhead")),))
    events = (event(float(base.trace.t_s[0]) + 1.0), event(float(base.trace.t_s[0]) + 0.2))
    seen = replace(
        base,
        setup=replace(base.setup, task="wiggle"),
        analysis=replace(base.analysis, events=events),
        capture=marked,
    )
    events = tuple(replace(e, at_percent=40.0, stroke=1, at_rest=False) for e in events)
    judged, _ = as_wiggle(replace(seen, analysis=replace(seen.analysis, events=events)))
    for row in event_rows(judged):
        assert "of travel" not in row["text"], "no travel, so no place on it"
        assert "not known" not in row["text"]
    assert [row["stroke"] for row in event_rows(judged)] == ["not marked", "bulkhead"]
    text = sheet_html(judged)
    assert "<th>Place</th>" in text
    assert "no stroke seen" not in text
    assert "<th>Stroke</th>" not in text
    assert "<th>Stroke</th>" in sheet_html(outcome(worn=True))


@pytest.mark.parametrize(("width", "height"), [(24, 8), (40, 12), (80, 24), (120, 40)])
def test_view_stays_in_its_window_and_keeps_the_keys(width: int, height: int) -> None:
    search = LiveSearch(PROFILE)
    search.mark("plug")
    for k in range(30):
        search.feed(with_dip(flat_trace(0.45, start_s=k, seconds=1.0, seed=k), k + 0.5))
    lines = wiggle_lines(search, 60.0, width, height)
    assert len(lines) <= height
    assert max(map(len, lines)) <= width
    assert "keys" in lines[-1]


@pytest.mark.parametrize("width", [30, 40, 50])
def test_no_word_is_cut_in_a_small_wiggle_view(width: int) -> None:
    search = LiveSearch(PROFILE)
    search.mark("controller end")
    search.feed(with_dip(flat_trace(0.45, seconds=3.0), 1.5))
    wide = " ".join(wiggle_lines(search, 60.0, 200, 40)).replace(",", "").split()
    for line in wiggle_lines(search, 60.0, width, 12):
        assert {word.strip(",") for word in line.split()} <= {*wide, "place", "…", str(len(search.found))}


@pytest.mark.parametrize(("missing", "kinds"), [(False, ["jump"]), (True, [])])
def test_level_after_lost_records_is_no_event(missing: bool, kinds: list[str]) -> None:
    """Wiggle, check and the test of the lead see it as the analysis does: nothing is found across a gap."""
    before = flat_trace(0.45, seconds=1.0)
    half = before.t_s.size // 2
    step = np.where(np.arange(before.t_s.size) < half, 0.0, 0.3)
    a, gap = before.signal_a, np.arange(before.t_s.size) == (half if missing else -1)
    moved = replace(a, mean_v=a.mean_v + step, min_v=a.min_v + step, max_v=a.max_v + step)
    assert [e.kind for e in events_of(replace(before, signal_a=moved, gap_before=gap))] == kinds
