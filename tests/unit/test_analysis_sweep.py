"""A good sweep, and one fault at a time put into it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.exact import clopper_pearson
from support.outcomes import CLOSED_V, OPEN_V, SUPPLY_V, hand, make_trace
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Analysis, Code
from sweeprig.capture.model import Channel, Trace
from sweeprig.errors import AnalysisError
from sweeprig.words import Sense, Starts


def run(trace: Trace, *, starts: Starts = Starts.CLOSED, told: Sense = Sense.UNKNOWN) -> Analysis:
    return analyse(trace, starts=starts, given_sense=told)


def codes(a: Analysis) -> set[Code]:
    return {f.code for f in a.findings}


def hit(c: Channel, windows: list[int], *, to_v: float = 0.1, conversions: int = 2) -> Channel:
    """A short dropout in each of `windows`: the minimum falls to `to_v`, the mean by its share."""
    mean, low = c.mean_v.copy(), c.min_v.copy()
    for w in windows:
        mean[w] -= (mean[w] - to_v) * conversions / 166
        low[w] = to_v
    return replace(c, mean_v=mean, min_v=low)


def test_clean_sweep_has_strokes_rests_ends_and_no_finding() -> None:
    a = run(make_trace())
    assert not a.findings
    assert not a.events
    assert [s.direction for s in a.strokes] == [1, -1, 1, -1]
    assert all(s.full for s in a.strokes)
    assert [r.place for r in a.rests] == ["low", "high", "low", "high", "low"]
    assert a.low is not None
    assert a.high is not None
    assert a.low.value_v == pytest.approx(CLOSED_V, abs=2e-4)
    assert a.high.value_v == pytest.approx(OPEN_V, abs=2e-4)
    assert a.low.ratio == pytest.approx(CLOSED_V / SUPPLY_V, abs=1e-4)


@pytest.mark.parametrize(
    ("starts", "told", "want"),
    [
        (Starts.CLOSED, Sense.UNKNOWN, Sense.RISING),
        (Starts.OPEN, Sense.UNKNOWN, Sense.FALLING),
        (Starts.ANYWHERE, Sense.UNKNOWN, Sense.UNKNOWN),
        (Starts.ANYWHERE, Sense.FALLING, Sense.FALLING),
    ],
)
def test_sense_and_its_evidence(starts: Starts, told: Sense, want: Sense) -> None:
    a = run(make_trace(), starts=starts, told=told)
    assert a.sense is want
    assert ("given by" in a.sense_evidence) == (told is not Sense.UNKNOWN)


def test_sense_told_against_the_start_is_reported() -> None:
    assert Code.WRONG_SENSE in codes(run(make_trace(), told=Sense.FALLING))


def test_a_12_us_dropout_is_found_though_the_mean_hardly_moves() -> None:
    t = make_trace()
    t = replace(t, signal_a=hit(t.signal_a, [900]))
    a = run(t)
    assert [e.kind for e in a.events] == ["to-ground"]
    assert a.events[0].duration_s == pytest.approx(12e-6, rel=0.3)
    assert codes(a) == {Code.STRAY_DROPOUT}


@pytest.mark.parametrize("share", [0.002, 0.05])
def test_dropouts_at_rest_move_an_end_by_less_than_1_mv(share: float) -> None:
    t = make_trace()
    clean, rng = run(t), np.random.default_rng(3)
    rest = np.concatenate([np.arange(r.start, r.stop) for r in clean.rests if r.place == "high"])
    windows = rng.choice(rest, max(1, int(share * rest.size)), replace=False).tolist()
    spoilt = run(replace(t, signal_a=hit(t.signal_a, windows, conversions=80)))
    assert spoilt.high is not None
    assert spoilt.high.value_v == pytest.approx(OPEN_V, abs=1e-3)


def test_events_at_one_place_are_a_worn_spot() -> None:
    t, x = make_trace(), hand()
    windows = np.flatnonzero(np.diff(np.sign(x - 0.4)) != 0).tolist()
    a = run(replace(t, signal_a=hit(t.signal_a, windows)))
    assert codes(a) == {Code.WORN_SPOT}
    where = a.findings[0].where_percent
    assert where is not None
    assert np.mean(where) == pytest.approx(40, abs=1)
    assert "clustering p-value" in a.findings[0].evidence


def test_events_anywhere_are_a_loose_connection() -> None:
    t = make_trace()
    a = run(replace(t, signal_a=hit(t.signal_a, [100, 700, 1300, 1900, 2500, 3100, 3700, 4300])))
    assert codes(a) == {Code.LOOSE_CONNECTION}
    assert any(e.at_rest for e in a.events)


def test_a_supply_dropout_is_the_supplys() -> None:
    t = make_trace()
    assert t.supply is not None
    a = run(replace(t, signal_a=hit(t.signal_a, [900]), supply=hit(t.supply, [900])))
    assert codes(a) == {Code.SUPPLY_DROPOUT}


def test_over_range_and_toggling_pretend_no_numbers() -> None:
    t = make_trace()
    n = t.t_s.size
    high = np.full(n, 5.5)
    a = run(replace(t, supply=Channel(high, high, high)))
    assert codes(a) == {Code.RIG_OVER_RANGE}
    assert a.low is None
    b = run(replace(t, signal_a=Channel(np.full(n, 2.4), np.full(n, 0.1), np.full(n, 4.9))))
    assert codes(b) == {Code.NOT_ANALOGUE}
    switch = np.where(hand(n) > 0.5, 4.8, 0.1)
    assert codes(run(replace(t, signal_a=Channel(switch, switch, switch)))) == {Code.NOT_ANALOGUE}


@pytest.mark.parametrize(
    ("level", "code"), [(0.01, Code.STUCK_LOW), (5.0, Code.STUCK_HIGH), (2.0, Code.NO_MOVEMENT)]
)
def test_a_signal_that_never_moves(level: float, code: Code) -> None:
    t = make_trace()
    v = level + np.random.default_rng(1).normal(0, 5e-4, t.t_s.size)
    assert codes(run(replace(t, signal_a=Channel(v, v - 2e-3, v + 2e-3)))) == {code}


def test_an_end_at_its_rail_is_a_dead_band() -> None:
    t = make_trace()
    v = np.clip(t.signal_a.mean_v - CLOSED_V - 0.2, 0.005, None)
    a = run(replace(t, signal_a=Channel(v, np.maximum(v - 2e-3, 0), v + 2e-3)))
    assert codes(a) == {Code.DEAD_BAND_CLOSED}


def test_two_tracks() -> None:
    t = make_trace()
    c = t.signal_a
    half = Channel(c.mean_v / 2, c.min_v / 2, c.max_v / 2)
    a = run(replace(t, signal_b=half))
    assert a.two_tracks is not None
    assert a.two_tracks.relation == "half-scale"
    assert not a.findings
    assert codes(run(replace(t, signal_b=c))) == {Code.TRACKS_SHORTED}


def opposed_loaded(track_ohm: float, load_ohm: float, bump_v: float = 0.0) -> Trace:
    """Two opposed tracks of a sensor, bent by a load, that of A perhaps with a bump half way."""
    t = make_trace()
    supply = 5.0
    share = (t.signal_a.mean_v - CLOSED_V + 0.4) / supply

    def seen(x: np.ndarray) -> np.ndarray:
        return x / (1 + x * (1 - x) * track_ohm / load_ohm) * supply

    a = seen(share) + bump_v * np.exp(-(((share - 0.5) / 0.06) ** 2))
    b = seen(1.0 - share)
    return replace(t, signal_a=Channel(a, a - 2e-3, a + 2e-3), signal_b=Channel(b, b - 2e-3, b + 2e-3))


def test_bend_by_the_rigs_load_is_no_track_disagreement() -> None:
    """Loaded divider, r = x / (1 + x(1 - x) k): 10 kohm on 25 kohm bend by up to 5 % of supply."""
    bent = opposed_loaded(10e3, 25e3)
    assert Code.TRACKS_DISAGREE in codes(run(bent)), "nothing is known of a load"
    told = run(replace(bent, load_ohm=25e3))
    assert codes(told) == set()
    assert told.two_tracks is not None
    assert told.two_tracks.slope == run(bent).two_tracks.slope, "slope and offset stay as measured"


def test_load_excuses_no_bump_and_no_excess_bend() -> None:
    assert Code.TRACKS_DISAGREE in codes(run(replace(opposed_loaded(5e3, 25e3, bump_v=0.4), load_ohm=25e3)))
    assert Code.TRACKS_DISAGREE in codes(run(replace(opposed_loaded(40e3, 25e3), load_ohm=25e3)))
    assert Code.TRACKS_DISAGREE in codes(run(replace(opposed_loaded(10e3, 25e3), load_ohm=770e3)))


def test_too_short_a_capture_is_an_error_with_a_next_step() -> None:
    t = make_trace()
    few = Channel(*(v[:10] for v in (t.signal_a.mean_v, t.signal_a.min_v, t.signal_a.max_v)))
    with pytest.raises(AnalysisError, match="10 windows"):
        run(replace(t, t_s=t.t_s[:10], signal_a=few, supply=None, gap_before=t.gap_before[:10]))


def test_interval_of_a_rate_refuses_more_hits_than_trials() -> None:
    with pytest.raises(ValueError, match="5 of 4"):
        clopper_pearson(5, 4)


def test_what_was_not_shown_is_listed() -> None:
    text = " ".join(run(make_trace(supply=False), starts=Starts.ANYWHERE).not_shown)
    for word in ("supply was not measured", "angle", "closed"):
        assert word in text
