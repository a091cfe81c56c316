"""Numbers as they stand on the sheet: counts, columns, axes, figures."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from support import outcomes as oc
from support.report_cases import two_tracks
from sweeprig.capture.model import Channel
from sweeprig.judge.model import BudgetLine, Quantity
from sweeprig.report.budgets import short_budget
from sweeprig.report.columns import to_columns
from sweeprig.report.facts import time_of, worst_event
from sweeprig.report.figures import capture_code, duration, one_line, quantity_text, u_text, volts
from sweeprig.report.handover import BITS, counts, handover_rows
from sweeprig.report.limits import limit_rows
from sweeprig.report.names import name_of
from sweeprig.report.scales import step_of, ticks
from sweeprig.report.trace_plot import _spread
from sweeprig.words import Sense


@pytest.mark.parametrize("bits", BITS)
def test_counts_are_the_nearest_code_of_an_exact_ratio(bits: int) -> None:
    full = 2**bits - 1
    for k in range(0, 1001, 7):
        exact = Fraction(k, 1000) * full
        nearest = int(exact + Fraction(1, 2))
        assert counts(k / 1000, bits=bits) in {nearest, nearest - (exact % 1 == Fraction(1, 2))}


@pytest.mark.parametrize(
    ("ratio", "bits", "wanted"),
    [
        (0.0, 8, 0),
        (1.0, 8, 255),
        (0.5, 8, 128),
        (0.1, 10, 102),
        (0.9, 12, 3686),
        (1.02, 8, 255),
        (-0.01, 10, 0),
    ],
)
def test_counts_by_hand(ratio: float, bits: int, wanted: int) -> None:
    # by hand: 0.5 x 255 = 127.5 -> 128; 0.1 x 1023 = 102.3 -> 102; 0.9 x 4095 = 3685.5 -> 3686
    assert counts(ratio, bits=bits) == wanted


def test_the_table_runs_straight_between_measured_ends() -> None:
    rows = handover_rows(oc.outcome())
    assert [r.percent for r in rows] == [0, 25, 50, 75, 100]
    assert [r.calculated for r in rows] == [False, True, True, True, False]
    assert rows[2].value_v == pytest.approx((oc.CLOSED_V + oc.OPEN_V) / 2)
    assert rows[4].nominal_v == pytest.approx(5.0 * oc.OPEN_V / oc.SUPPLY_V)
    assert rows[0].counts == tuple(round(oc.CLOSED_V / oc.SUPPLY_V * (2**b - 1)) for b in (8, 10, 12))


def test_a_falling_sensor_starts_high() -> None:
    rows = handover_rows(oc.outcome(sense=Sense.FALLING))
    assert rows[0].name == "closed"
    assert rows[0].value_v == oc.OPEN_V
    assert rows[-1].value_v == oc.CLOSED_V


def test_an_unknown_sense_has_no_closed_end_and_no_steps() -> None:
    assert [(r.name, r.percent) for r in handover_rows(oc.outcome(sense=Sense.UNKNOWN))] == [
        ("low", None),
        ("high", None),
    ]


def test_without_supply_there_are_no_counts() -> None:
    rows = handover_rows(oc.outcome(supply=False))
    assert rows[0].value_v == oc.CLOSED_V
    assert {r.ratio for r in rows} == {None}
    assert {r.counts for r in rows} == {(None, None, None)}


def test_no_nominal_volts_for_a_non_ratiometric_sensor() -> None:
    base = oc.outcome()
    supply = replace(base.profile.supply, ratiometric=False)
    rows = handover_rows(replace(base, profile=replace(base.profile, supply=supply)))
    assert {r.nominal_v for r in rows} == {None}
    assert rows[0].ratio is not None


def test_the_worst_event_is_the_longest_of_the_deepest() -> None:
    base = oc.outcome(worn=True)
    one = base.analysis.events[0]
    events = (
        replace(one, depth_percent=22.3, duration_s=1e-4),
        replace(one, depth_percent=21.8, duration_s=2e-3),
    )
    assert worst_event(replace(base, analysis=replace(base.analysis, events=events))) is events[1]


def test_a_missing_end_leaves_no_table() -> None:
    base = oc.outcome()
    gone = {**base.judgement.quantities, "open_v": Quantity("open_v", "V", None, None, reason="no rest")}
    assert handover_rows(replace(base, judgement=replace(base.judgement, quantities=gone))) == ()


def test_track_b_has_its_own_table() -> None:
    rows = handover_rows(two_tracks(), track_b=True)
    assert rows[0].value_v == oc.CLOSED_V / 2
    assert handover_rows(oc.outcome(), track_b=True) == ()


def test_columns_keep_the_one_extreme_conversion() -> None:
    n = 100_000
    rng = np.random.default_rng(4)
    mean = rng.normal(2.5, 1e-3, n)
    low, high = mean - 1e-3, mean + 1e-3
    low[54_321], high[77_777] = 0.01, 4.99
    t = np.arange(n) * 1e-3
    c = to_columns(t, Channel(mean, low, high), np.zeros(n, bool), start_s=0.0, stop_s=100.0, n=700)
    assert c.t_s.size == 700
    assert c.low_v.min() == 0.01
    assert c.high_v.max() == 4.99
    assert c.t_s[np.argmin(c.low_v)] == pytest.approx(54.321, abs=100 / 700)
    for k in (0, 350, 699):
        inside = (t >= k * 100 / 700) & (t < (k + 1) * 100 / 700)
        assert c.mean_v[k] == pytest.approx(mean[inside].mean(), abs=2e-5)


def test_columns_mark_gaps_and_leave_out_empty_ones() -> None:
    t = np.array([0.0, 0.1, 5.0, 5.1])
    v = np.arange(4.0)
    c = to_columns(t, Channel(v, v, v), np.array([False, False, True, False]), start_s=0, stop_s=10, n=10)
    assert c.t_s.tolist() == [0.5, 5.5]
    assert c.starts.tolist() == [False, True]
    with pytest.raises(ValueError, match="empty"):
        to_columns(t[:0], Channel(v[:0], v[:0], v[:0]), np.zeros(0, bool), start_s=0, stop_s=1, n=5)


@pytest.mark.parametrize(
    ("span", "n", "step"), [(5, 6, 1), (5.15, 6, 1), (0.0023, 3, 0.001), (100, 4, 50), (0, 5, 1)]
)
def test_axis_steps_are_round(span: float, n: int, step: float) -> None:
    assert step_of(span, n) == pytest.approx(step)
    assert ticks(0.0, 5.0, 5) == pytest.approx([0, 1, 2, 3, 4, 5])


def test_labels_neither_overlap_nor_leave_the_drawing() -> None:
    placed = _spread([10, 11, 12, 240, 246, 248], step=12, last=250)
    assert np.diff(placed).min() >= 12
    assert placed[0] == 10
    assert placed[-1] <= 250
    assert _spread([10, 50], step=12, last=250) == [10, 50]


@pytest.mark.parametrize(
    ("u95", "text"),
    [(1.84e-3, "±1.8 mV"), (0.0123, "±12 mV"), (0.42e-3, "±0.42 mV"), (None, ""), (float("inf"), "")],
)
def test_uncertainty_has_two_digits(u95: float | None, text: str) -> None:
    assert u_text(u95) == text


def test_figures() -> None:
    assert volts(-0.00004) == "0.000 V"
    assert volts(-0.5) == "\N{MINUS SIGN}0.500 V"
    assert volts(0.45234, 0.4e-3) == "0.4523 V"
    assert volts(float("nan")) == "–"
    assert quantity_text(Quantity("x", "V", None, None, reason="why")) == "not measured: why"
    assert quantity_text(Quantity("x", "", 0.09018, 4e-4)) == "0.09018 ±0.00040"
    assert [duration(s) for s in (12e-6, 0.0032, 2.5, None)] == ["12 µs", "3.2 ms", "2.5 s", "–"]
    assert capture_code("3f2a91bc" + "0" * 56) == "3F2A-91BC"
    assert capture_code("") == ""
    assert one_line("a\nb\x1b[31m\tc", 20) == "a b [31m c"
    assert one_line("x" * 30, 10) == "x" * 9 + "…"


def test_names() -> None:
    assert name_of("closed_v") == "Closed throttle"
    assert name_of("closed_b_v") == "Closed throttle of track B"
    assert name_of("low_ratio") == "Low end, ratio to supply"
    assert name_of("slope_b") == "Slope of B against A"


def test_what_fails_stands_first_among_the_limits() -> None:
    base = oc.outcome()
    margins = (*base.judgement.margins, replace(base.judgement.margins[0], verdict="fail"))
    rows = limit_rows(replace(base, judgement=replace(base.judgement, margins=margins)))
    assert rows[0].verdict == "fail"
    assert rows[1].name == "Closed end, ground side"
    assert rows[1].must == "above 0.250 V"
    assert {r.must for r in rows} >= {"0.400 to 0.500 V", "at least 3", "at least 3.000 V"}


def test_short_budget_joins_small_parts_in_quadrature() -> None:
    base = oc.outcome()
    parts = (9e-3, 8e-3, 7e-3, 6e-3, 5e-3, 4e-3, 3e-3)
    lines = tuple(BudgetLine(f"part {k}", "B", "normal", u, "V", 1.0, 9) for k, u in enumerate(parts))
    q = {**base.judgement.quantities}
    q["closed_v"] = replace(q["closed_v"], budget=lines)
    q["open_v"] = replace(q["open_v"], budget=())
    short = short_budget(replace(base, judgement=replace(base.judgement, quantities=q)))
    assert short is not None
    assert short["rows"][0] == ("part 0", "9.00", "–")
    assert short["rows"][-1][:2] == ("3 smaller ones", "7.07")  # sqrt(5^2 + 4^2 + 3^2)


def test_time_goes_by_the_index_without_the_first_window() -> None:
    made = oc.outcome()
    assert made.capture is not None
    cut = replace(made, trace=replace(made.trace, t_s=made.trace.t_s[5:]))
    assert time_of(cut, 100) == pytest.approx(100 * made.capture.window_s)
