"""Tables of coarse loggers: a sound sensor stays sound at any rate and step, and what they cannot show is said."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from support.lever import Legs, lever, strokes
from sweeprig.analysis.model import Code
from sweeprig.bench.review.review import review_csv
from sweeprig.capture.model import FloatArray
from sweeprig.judge.model import Verdict
from sweeprig.judge.outcome import Outcome

FINE_S = 0.0005
LOW_V, HIGH_V, SUPPLY_V = 0.452, 4.512, 5.003
BITS_8, BITS_10, BITS_12 = 5.0 / 256, 5.0 / 1024, 5.0 / 4096


def logged(
    tmp_path: Path,
    places: FloatArray,
    *,
    hz: float,
    step_v: float,
    lift: tuple[float, float] = (0.0, 0.0),
    opens: Sequence[tuple[float, float]] = (),
) -> Outcome:
    """A table of single readings every 1/hz s in steps of `step_v`.

    `lift`: place and seconds of a lift nearly to ground; `opens`: when the wire opens and for how long [s].
    """
    rng = np.random.default_rng(1)
    v = LOW_V + (HIGH_V - LOW_V) * places
    at, for_s = lift
    for k in np.flatnonzero(np.diff(np.sign(places - at))) if for_s else ():
        v[k : k + round(for_s / FINE_S)] *= 0.1
    for t, seconds in opens:
        v[round(t / FINE_S) : round((t + seconds) / FINE_S)] = 0.002
    take = np.arange(0, places.size, round(1 / hz / FINE_S))
    a, s = (x + rng.normal(0, 3e-4, take.size) for x in (v[take], np.full(take.size, SUPPLY_V)))
    a, s = (step_v * np.floor(x / step_v + 0.5) for x in (a, s))
    rows = [f"{t * FINE_S:.4f},{x:.4f},{y:.4f}" for t, x, y in zip(take, a, s, strict=True)]
    path = tmp_path / "a.csv"
    path.write_text("\n".join(["time_s,signal_v,supply_v", *rows]) + "\n")
    return review_csv(path)


def faults(outcome: Outcome) -> list[Code]:
    return [f.code for f in outcome.judgement.findings if f.severity != "note"]


def snapped(back_s: float) -> Legs:
    """Opened by hand, let go and pulled back by the spring, with a bounce off the stop."""
    legs: Legs = [(0.0, 0.6)]
    for _ in range(4):
        legs += [(1.0, 0.8), (1.0, 0.5), (0.0, back_s), (0.06, 0.03), (0.0, 0.03), (0.0, 0.6)]
    return legs


@pytest.mark.parametrize("hz", [50, 100, 200, 500, 1000])
@pytest.mark.parametrize("back_s", [0.04, 0.12])
def test_a_spring_return_is_sound_at_any_rate(tmp_path: Path, hz: float, back_s: float) -> None:
    outcome = logged(tmp_path, lever(snapped(back_s), step_s=FINE_S), hz=hz, step_v=BITS_12)
    assert faults(outcome) == []
    assert outcome.judgement.verdict is Verdict.PASS


@pytest.mark.parametrize("hz", [50, 100, 200, 500, 1000])
@pytest.mark.parametrize("step_v", [BITS_8, BITS_10, 0.01, 0.001])
def test_coarse_steps_are_sound_at_any_rate(tmp_path: Path, hz: float, step_v: float) -> None:
    outcome = logged(tmp_path, lever(strokes([0.9, 1.4, 0.6, 1.1]), step_s=FINE_S), hz=hz, step_v=step_v)
    assert faults(outcome) == []
    for name, true in (("low_v", LOW_V), ("high_v", HIGH_V)):
        q = outcome.judgement.quantities[name]
        assert q.value is not None
        assert q.u95 is not None
        assert abs(q.value - true) <= q.u95
        assert q.u95 >= 0.45 * step_v


def test_lifts_are_found_in_a_slow_table(tmp_path: Path) -> None:
    places = lever(strokes([2.5] * 6), step_s=FINE_S)
    outcome = logged(tmp_path, places, hz=50, step_v=BITS_12, lift=(0.4, 0.02))
    assert Code.WORN_SPOT in faults(outcome)


@pytest.mark.parametrize("hz", [50, 100, 200])
@pytest.mark.parametrize("for_s", [0.025, 0.06, 0.2])
def test_a_wire_that_opens_for_long_is_found_in_slow_tables(tmp_path: Path, hz: float, for_s: float) -> None:
    """Longer than a peak may be and shorter than for good: it passed."""
    places = lever(strokes([0.9, 1.4, 0.6, 1.1]), step_s=FINE_S)
    at = np.random.default_rng(3).uniform(0.3, places.size * FINE_S - 0.5, 8)
    outcome = logged(tmp_path, places, hz=hz, step_v=BITS_12, opens=[(float(t), for_s) for t in at])
    assert Code.LOOSE_CONNECTION in faults(outcome)
    assert Code.DEAD_BAND_CLOSED not in faults(outcome)
    assert outcome.judgement.verdict is Verdict.FAIL


@pytest.mark.parametrize("hz", [50, 100, 200])
def test_an_end_at_ground_is_no_loose_wire_in_slow_tables(tmp_path: Path, hz: float) -> None:
    at_ground = -LOW_V / (HIGH_V - LOW_V)
    places = np.maximum(1.2 * lever(snapped(0.12), step_s=FINE_S) - 0.2, at_ground)
    outcome = logged(tmp_path, places, hz=hz, step_v=BITS_12)
    assert not {Code.LOOSE_CONNECTION, Code.STRAY_DROPOUT, Code.WORN_SPOT} & set(faults(outcome))


def test_what_a_slow_coarse_table_cannot_show_is_listed(tmp_path: Path) -> None:
    outcome = logged(tmp_path, lever(strokes([0.9] * 4), step_s=FINE_S), hz=50, step_v=BITS_8)
    told = " ".join(outcome.judgement.not_shown)
    assert "at 50 readings a second" in told
    assert "Roughness" in told
    assert "steps of that" in told
    fine = logged(tmp_path, lever(strokes([0.9] * 4), step_s=FINE_S), hz=1000, step_v=BITS_12)
    assert "readings a second" not in " ".join(fine.judgement.not_shown)


@pytest.mark.parametrize("seconds", [8.0, 14.0])
def test_a_slow_stroke_in_coarse_steps_is_no_rest(tmp_path: Path, seconds: float) -> None:
    """Steps of 20 mV in 100 readings a second: in 40 ms the lever moves by less than one."""
    n = round(seconds / FINE_S)
    u = (np.arange(n) + 1) / n
    way, rest = 10 * u**3 - 15 * u**4 + 6 * u**5, np.zeros(round(0.6 / FINE_S))
    places = np.concatenate([rest, way, rest + 1, 1 - way, rest, way, rest + 1, 1 - way, rest])
    found = logged(tmp_path, places, hz=100.0, step_v=BITS_8).analysis
    assert len(found.strokes) == 4
    for end, n_rests, level in ((found.low, 3, LOW_V), (found.high, 2, HIGH_V)):
        assert end is not None
        assert end.n_rests == n_rests
        assert abs(end.value_v - level) < 2.0 * end.u_v
