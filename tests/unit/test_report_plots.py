"""Drawings of the sheet: snapshots in volts, signal B against A, the places of a wiggle test."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from support import outcomes as oc
from support.report_cases import cases, wiggle
from sweeprig.analysis.model import TwoTracks
from sweeprig.capture.marks import MarkAt, mark_text
from sweeprig.capture.model import Channel
from sweeprig.report.evidence import snapshot_drawings
from sweeprig.report.pair_plot import course_of, pair_svg, worst_at
from sweeprig.report.sheet import sheet_html
from sweeprig.report.trace_plot import trace_svg
from sweeprig.report.view import NOISE_NOTE

LINE = TwoTracks("half-scale", 0.5, 0.1, 0.2, 4.0, 50.0)


def numbers(drawing: str) -> list[float]:
    return [float(n.replace("−", "-")) for n in re.findall(r">(−?\d+(?:\.\d+)?)<", drawing)]


def test_a_snapshot_shows_volts_and_only_their_range() -> None:
    (_, drawing), *_ = snapshot_drawings(oc.outcome(worn=True), limit=1, width=400, height=170, name="s")
    assert ">V<" in drawing
    assert ">code<" not in drawing
    up = [n for n in numbers(drawing.partition("µs")[0]) if 0 <= n < 6]
    assert up
    assert max(up) < 5.6


def test_signal_b_is_drawn_against_a_with_the_place_that_disagrees() -> None:
    a = np.linspace(0.5, 4.5, 4000)
    b = 0.1 + 0.5 * a
    b[2000:2040] += 0.2
    trace = replace(oc.make_trace(n=4000), signal_a=Channel(a, a, a), signal_b=Channel(b, b, b))
    at_v, far_v = worst_at(a, b, LINE)
    assert at_v == pytest.approx(2.52, abs=0.03)
    assert far_v == pytest.approx(0.2)
    assert course_of(a, b).high_v.max() == b.max()
    drawing = str(pair_svg(trace, LINE, width=470, height=230, name="p"))
    assert "farthest from the line: 200 mV" in drawing
    assert "signal A [V]" in drawing


def test_a_sheet_of_two_tracks_has_the_drawing_and_one_of_one_track_not() -> None:
    assert "Signal B against signal A" in sheet_html(cases()["two-tracks"])
    assert "Signal B against signal A" not in sheet_html(cases()["good"])


def test_the_trace_of_a_wiggle_test_names_its_places() -> None:
    outcome = wiggle()
    assert outcome.capture is not None
    marks = (MarkAt(0.0, "plug"), MarkAt(2.0, "bulkhead"))
    capture = replace(outcome.capture, coaching=tuple(map(mark_text, marks)))
    drawing = str(trace_svg(replace(outcome, capture=capture), width=960, height=236, name="t"))
    assert ">plug<" in drawing
    assert ">bulkhead<" in drawing
    assert "strokes, numbered" not in drawing


def test_a_wiggle_test_without_a_marked_place_is_drawn() -> None:
    outcome = wiggle()
    assert outcome.capture is not None
    bare = replace(outcome, capture=replace(outcome.capture, coaching=(), marks=()))
    assert "plug" not in str(trace_svg(bare, width=960, height=236, name="t"))


def test_what_a_peak_of_noise_means_is_said_once() -> None:
    assert sheet_html(cases()["good"]).count(NOISE_NOTE) == 1


@pytest.mark.parametrize("height", [116, 128, 160, 245])
def test_numbers_of_a_low_trace_do_not_overlap(height: int) -> None:
    drawing = trace_svg(oc.outcome(), width=700, height=height, name="t")
    found = re.findall(r'x="28" y="([\d.]+)"[^>]*>\d+<', str(drawing))
    places = sorted(float(y) for y in found)
    assert len(places) >= 2
    assert min(b - a for a, b in pairwise(places)) >= 11
