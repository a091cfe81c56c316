"""What is advised of a worn spot follows from in how many strokes it showed; figures of it say what they count."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from support import outcomes as oc
from sweeprig.analysis.event_findings import about_events
from sweeprig.analysis.event_texts import SWEEP_AGAIN, loose
from sweeprig.analysis.model import Event, TrackMap
from sweeprig.capture.model import Channel
from sweeprig.judge.profile import load_profile
from sweeprig.judge.rails import flag_reading
from sweeprig.report.customer import CONFIRM, customer_text
from sweeprig.report.evidence import event_rows, snapshot_drawings
from sweeprig.report.view import readings
from sweeprig.wording.live import FLAG_WORDS


def at(stroke: int | None, percent: float = 18.0) -> Event:
    return Event(
        1.0 + (stroke or 0), 3e-4, 0, "to-ground", 22.0, percent, stroke, stroke is None, False, 40.0
    )


def map_of(passes: int) -> TrackMap:
    bins = 50
    counts = np.full(bins, passes)
    return TrackMap(
        np.linspace(0, 100, bins + 1), counts, counts * 0, np.full(bins, 1e-4), 0.001, None, passes
    )


@pytest.mark.parametrize(
    ("shown", "passes", "step"),
    [
        (4, 5, "Replace the sensor: the place shows in 4 of 5 strokes."),
        (3, 3, "Replace the sensor: the place shows in 3 of 3 strokes."),
        (2, 2, "Sweep slowly across that place again"),
        (3, 6, "Sweep slowly across that place again"),
    ],
)
def test_the_advice_follows_from_the_strokes_that_show_it(shown: int, passes: int, step: str) -> None:
    found, *_ = about_events(tuple(at(k) for k in range(shown)), map_of(passes), channel=0, rough=None)
    assert found.code == "worn-spot"
    assert found.next_step.startswith(step)
    assert f"{shown} dropouts in {shown} of {passes} strokes" in found.evidence


def test_the_tile_counts_strokes_that_have_an_event() -> None:
    base = oc.outcome(worn=True)
    n = len(base.analysis.strokes)
    events = (at(0), replace(at(0), start_s=1.9), at(2), replace(at(None), start_s=6.0))
    level = np.full(base.trace.t_s.size, 2.0)
    low = np.where(np.isin(np.round(base.trace.t_s, 3), [1.0, 1.9, 3.0, 6.0]), 0.9, level)
    trace = replace(base.trace, signal_a=Channel(level, low, level))
    tile = readings(replace(base, trace=trace, analysis=replace(base.analysis, events=events)))[-1]
    assert (tile["value"], tile["spread"]) == ("4", f"3 in 2 of {n} strokes, 1 while held still")
    assert tile["more"] == "deepest: 2.000 V to 0.900 V"


def test_a_snapshot_names_the_event_that_it_shows() -> None:
    base = oc.outcome(worn=True)
    capture = base.capture
    assert capture is not None
    shot = capture.snapshots[0]
    at_s = shot.index * capture.window_s + (shot.first + shot.trigger) / capture.conversion_hz
    shown = replace(at(0), start_s=at_s - 0.4 * capture.window_s, end_s=at_s + 0.6 * capture.window_s)
    made = replace(base, analysis=replace(base.analysis, events=(shown,)))
    (title, _), *_ = snapshot_drawings(made, limit=1, width=400, height=170, name="s")
    assert title == f"signal A at {at_s:.4f} s, event {event_rows(made)[0]['number']}"


def test_a_reading_at_a_rail_says_it_once_and_names_a_wire() -> None:
    flag = flag_reading(0.0, 5.0, load_profile("adjustable-potentiometer"))
    said = f"{FLAG_WORDS[flag.where]}: {flag.text}"
    assert len(re.findall("at ground", said, re.IGNORECASE)) == 1
    assert "wire" in said


def test_the_headline_asks_what_the_next_step_asks() -> None:
    few = replace(oc.WORN, next_step=SWEEP_AGAIN, unconfirmed=True)
    assert customer_text(oc.outcome(worn=True, findings=(few,))).endswith(f"; {CONFIRM}.")
    assert customer_text(oc.outcome(worn=True)).endswith("; it should be replaced.")


@pytest.mark.parametrize(
    ("p", "said"),
    [(0.002, "at more than one place"), (0.142, "not gathered at one place (clustering p-value 0.142)")],
)
def test_dropouts_close_together_are_not_called_spread(p: float, said: str) -> None:
    """They were: "scattered along the travel: by chance they would lie so close together 2 times in 1000"."""
    found = loose((Event(1.0, 2e-4, 0, "to-ground", 40.0, 18.0, 0, False, False, 30.0),), p, None, 0)
    assert said in found.evidence
    assert ("spread along the travel" in found.evidence) == (p > 0.01)
