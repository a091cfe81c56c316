"""Outcomes built by hand, for tests of what is made from them. The sensors and people here are invented."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from sweeprig.analysis.model import (
    Analysis,
    Cause,
    Code,
    End,
    Event,
    Finding,
    RawExtremes,
    Rest,
    Stroke,
    TrackMap,
)
from sweeprig.calibration.model import Calibration, ChannelCalibration, Line, Meter
from sweeprig.capture.model import Capture, Channel, SweepSetup, Trace
from sweeprig.judge.model import BudgetLine, Check, Judgement, Margin, Quantity, Verdict
from sweeprig.judge.outcome import Outcome
from sweeprig.judge.profile import load_profile
from sweeprig.judge.whole import no_fault_text
from sweeprig.link.messages import Records, Snapshot
from sweeprig.words import Hookup, Sense

WINDOW_S = 166 * 3 / 500_000
CLOSED_V, OPEN_V, SUPPLY_V = 0.452, 4.482, 5.012
SHA = "3f2a91bc" + "0d" * 28
INF = float("inf")


def hand(n: int = 5000, *, strokes: int = 4, rest: float = 0.35) -> np.ndarray:
    """Lever position 0..1 of a hand: rests and smooth strokes, starting closed."""
    t = np.linspace(0.0, 1.0, n)
    stroke = (1.0 - rest) / strokes
    dwell = rest / (strokes + 1)
    x = np.zeros(n)
    for k in range(strokes):
        start = dwell + k * (stroke + dwell)
        u = np.clip((t - start) / stroke, 0.0, 1.0)
        move = u * u * (3.0 - 2.0 * u)
        x += move if k % 2 == 0 else -move
    return x


def make_trace(*, dropouts: bool = False, supply: bool = True, n: int = 5000, seed: int = 5) -> Trace:
    """A rising potentiometer on 5.012 V; with `dropouts` worn at 28 to 33 per cent of its span."""
    rng = np.random.default_rng(seed)
    x = hand(n)
    mean = CLOSED_V + (OPEN_V - CLOSED_V) * x + rng.normal(0, 0.6e-3, n)
    low, high = mean - 2.4e-3 - rng.exponential(0.4e-3, n), mean + 2.4e-3 + rng.exponential(0.4e-3, n)
    if dropouts:
        hit = np.flatnonzero((x > 0.28) & (x < 0.33) & (rng.random(n) < 0.08))
        low[hit] = rng.uniform(0.05, 0.7, hit.size) * mean[hit]
        mean[hit] -= 0.004
    rail = SUPPLY_V + rng.normal(0, 0.5e-3, n)
    return Trace(
        t_s=np.arange(n) * WINDOW_S,
        signal_a=Channel(mean, low, high),
        signal_b=None,
        supply=Channel(rail, rail - 2e-3, rail + 2e-3) if supply else None,
        window_s=WINDOW_S,
        n_per_window=166,
        lsb_v=3.3 / 0.6 / 4096,
        full_scale_v=5.5,
        gap_before=np.zeros(n, bool),
        shortest_dropout_s=12e-6,
        name="demo",
    )


def make_setup(**changes: Any) -> SweepSetup:
    setup = SweepSetup(
        operator="R. Invented",
        job="J-1042",
        sensor_label="Shelf 3, box 7",
        part="slotted mount, 3 wires",
        serial="S-0007",
        track_ohm=4870.0,
        sensor_kind="potentiometer",
    )
    return replace(setup, **changes)


def make_capture(trace: Trace, setup: SweepSetup, *, snapshots: bool = False) -> Capture:
    n = trace.t_s.size
    zeros = np.zeros((n, 3), np.uint16)
    records = Records(
        np.arange(n),
        np.zeros((n, 3), np.uint32),
        zeros,
        zeros,
        np.zeros(n, np.uint16),
        np.zeros(n, np.uint16),
    )
    codes = np.tile(np.array([1480, 12, 3740], np.uint16), 60)
    codes[3 * 24 : 3 * 33 : 3] = (1480, 900, 310, 95, 40, 38, 420, 1100, 1478)
    shots = (Snapshot(index=1300, first=41, trigger=75, channels=3, channel=0, codes=codes),)
    return Capture(
        records=records,
        rig={
            "firmware": "0.1.0",
            "board": "bench board",
            "chip": "rp2040",
            "uid": "e660583883724a32",
            "build": "full",
            "protocol": 1,
            "capabilities": ["supply-switch", "burden", "snapshots"],
        },
        setup=setup,
        created="2031-03-04T10:15:00+00:00",
        window=166,
        conversion_hz=500_000.0,
        snapshots=shots if snapshots else (),
        coaching=("slow open", "hold closed", "small moves near closed"),
        sha256=SHA,
        versions={"sweeprig": "0.1.0"},
    )


def make_calibration(**changes: Any) -> Calibration:
    line = Line(offset_v=-0.004, gain_v=3.3 / 0.6 / 4096, var_offset=1e-6, var_gain=1e-14, cov=0.0)
    calibration = Calibration(
        kind="line+linearity",
        rig_uid="e660583883724a32",
        build="full",
        chip="rp2040",
        channels=tuple(ChannelCalibration(channel=c, line=line) for c in range(3)),
        made_at="2031-02-20T09:00:00+00:00",
        operator="R. Invented",
        meter=Meter(name="bench meter", serial="M-11", certificate="C-2030-88", percent_of_reading=0.05),
        temperature_c=21.5,
        smps_mode="pwm",
    )
    return replace(calibration, **changes)


def strokes_and_rests(trace: Trace) -> tuple[tuple[Stroke, ...], tuple[Rest, ...]]:
    """Strokes and rests of `hand`."""
    n, dwell, stroke = trace.t_s.size, 0.35 / 5, 0.65 / 4
    strokes, rests = [], []
    for k in range(5):
        start = round(n * k * (stroke + dwell))
        stop = round(n * (k * (stroke + dwell) + dwell))
        place, value = ("low", CLOSED_V) if k % 2 == 0 else ("high", OPEN_V)
        rests.append(Rest(start, stop, value, 0.2e-3, place))
        if k < 4:
            ends = (CLOSED_V, OPEN_V) if k % 2 == 0 else (OPEN_V, CLOSED_V)
            strokes.append(
                Stroke(stop, round(n * (k + 1) * (stroke + dwell)), *ends, 1 if k % 2 == 0 else -1, True)
            )
    return tuple(strokes), tuple(rests)


def make_events(trace: Trace) -> tuple[Event, ...]:
    """One event for each run of windows whose lowest conversion is far below its mean."""
    depth = trace.signal_a.mean_v - trace.signal_a.min_v
    x = (trace.signal_a.mean_v - CLOSED_V) / (OPEN_V - CLOSED_V) * 100
    strokes, _ = strokes_and_rests(trace)
    events = []
    for i in np.flatnonzero(depth > 0.02):
        at = next((k for k, s in enumerate(strokes) if s.start <= i < s.stop), None)
        percent = 100 * float(depth[i]) / SUPPLY_V
        kind = "to-ground" if trace.signal_a.min_v[i] < 0.2 else "partial"
        events.append(
            Event(
                float(trace.t_s[i]), WINDOW_S / 4, 0, kind, percent, float(x[i]), at, at is None, False, 40.0
            )
        )
    return tuple(events)


def make_map(trace: Trace, events: tuple[Event, ...], bins: int = 50) -> TrackMap:
    edges = np.linspace(0, 100, bins + 1)
    places = [e.at_percent for e in events if e.at_percent is not None]
    counted, _ = np.histogram(places, edges)
    rng = np.random.default_rng(8)
    noise = 0.9e-3 + 0.2e-3 * rng.random(bins)
    if events:
        noise[(edges[:-1] >= 27) & (edges[:-1] < 34)] *= 3.1
    return TrackMap(
        edge_percent=edges,
        strokes_seen=np.full(bins, 4),
        events=counted.astype(np.int64),
        noise_v=noise,
        p_clustered=3e-9 if places else None,
        p_at_rest=0.01 if places else None,
    )


def make_budget(u_noise: float) -> tuple[BudgetLine, ...]:
    return (
        BudgetLine("level of the rests", "A", "t", u_noise, "V", 1.0, 12.0),
        BudgetLine("meter used for the calibration", "B", "rectangular", 0.29e-3, "V", 1.0, INF),
        BudgetLine("fit of the calibration", "A", "t", 0.35e-3, "V", 1.0, 3.0),
        BudgetLine("converter steps left after correction", "B", "normal", 0.5, "LSB", 1.343e-3, INF),
        BudgetLine("reference drift since the calibration", "B", "rectangular", 0.02, "%", 4.5e-3, INF),
    )


def volts(name: str, value: float | None, u95: float = 1.8e-3, reason: str = "") -> Quantity:
    if value is None:
        return Quantity(name, "V", None, None, reason=reason)
    return Quantity(
        name,
        "V",
        value,
        u95,
        u=u95 / 2.03,
        dof=40.0,
        coverage_factor=2.03,
        n_samples=900,
        budget=make_budget(2e-4),
    )


def make_quantities(*, supply: bool = True, sense: Sense = Sense.RISING) -> dict[str, Quantity]:
    low, high = volts("low_v", CLOSED_V), volts("high_v", OPEN_V, 2.4e-3)
    why = "the supply is not observed"
    quantities = {
        "low_v": low,
        "high_v": high,
        "span_v": volts("span_v", OPEN_V - CLOSED_V, 2.9e-3),
        "supply_v": volts("supply_v", SUPPLY_V if supply else None, 2.2e-3, why),
    }
    for name, end in (("low", low), ("high", high)):
        ratio = None if not supply or end.value is None else end.value / SUPPLY_V
        u95 = None if ratio is None else 4.1e-4
        quantities[f"{name}_ratio"] = Quantity(f"{name}_ratio", "", ratio, u95, reason="" if supply else why)
    if sense is Sense.UNKNOWN:
        return quantities
    ends = (low, high) if sense is Sense.RISING else (high, low)
    for name, end in zip(("closed", "open"), ends, strict=True):
        quantities[f"{name}_v"] = replace(end, name=f"{name}_v")
        ratio = None if not supply or end.value is None else end.value / SUPPLY_V
        u95 = None if ratio is None else 4.1e-4
        quantities[f"{name}_ratio"] = Quantity(f"{name}_ratio", "", ratio, u95, reason="" if supply else why)
    return quantities


def make_margins(sense: Sense = Sense.RISING) -> tuple[Margin, ...]:
    names = ("low", "high") if sense is Sense.UNKNOWN else ("closed", "open")
    if sense is Sense.FALLING:
        names = ("open", "closed")
    return (
        Margin(names[0], "lower", CLOSED_V, 1.8e-3, 0.25, Verdict.PASS),
        Margin(names[1], "upper", OPEN_V, 2.4e-3, 4.75, Verdict.PASS),
    )


def make_checks(*, supply: bool = True, sense: Sense = Sense.RISING) -> tuple[Check, ...]:
    source, open_ = "common practice, no source", Verdict.UNDECIDED
    ends = (
        Check("closed", CLOSED_V, 1.8e-3, "V", 0.4, 0.5, Verdict.PASS, source),
        Check("open", OPEN_V, 2.4e-3, "V", 4.0, 4.7, Verdict.PASS, source),
        Check("span", OPEN_V - CLOSED_V, 2.9e-3, "V", 3.0, None, Verdict.PASS, source),
    )
    if sense is Sense.UNKNOWN:
        why = "say which end is closed"
        ends = (
            Check("closed", None, None, "V", 0.4, 0.5, open_, source, why),
            Check("open", None, None, "V", 4.0, 4.7, open_, source, why),
            ends[2],
        )
    seen = (Check("supply", SUPPLY_V, 2.2e-3, "V", 4.75, 5.25, Verdict.PASS, source),)
    strokes = Check("strokes", 4.0, None, "strokes", 3.0, None, Verdict.PASS, source)
    return (*ends, *(seen if supply else ()), strokes)


def make_analysis(
    trace: Trace, *, sense: Sense = Sense.RISING, findings: tuple[Finding, ...] = ()
) -> Analysis:
    strokes, rests = strokes_and_rests(trace)
    events = make_events(trace)
    low = End(CLOSED_V, 0.2e-3, 12, 3, 900, 0.3e-3, 0.1e-3, CLOSED_V / SUPPLY_V)
    high = End(OPEN_V, 0.2e-3, 12, 2, 700, 0.4e-3, -0.1e-3, OPEN_V / SUPPLY_V)
    seen = trace.supply is not None
    return Analysis(
        sense=sense,
        sense_evidence="the sweep began anywhere, and nobody said which end is closed"
        if sense is Sense.UNKNOWN
        else "the sweep began with the lever at closed throttle and the signal rose from there",
        low=low,
        high=high,
        strokes=strokes,
        rests=rests,
        events=events,
        track_map=make_map(trace, events),
        track_map_b=None,
        two_tracks=None,
        linearity=None,
        plain=RawExtremes(float(trace.signal_a.min_v.min()), float(trace.signal_a.max_v.max())),
        supply_v=SUPPLY_V if seen else float("nan"),
        noise_v=0.6e-3,
        smoothness_percent=0.21,
        findings=findings,
        not_shown=(
            "linearity and degrees: no angle was measured; fit an angle encoder or read a protractor",
        ),
    )


WORN = Finding(
    Code.WORN_SPOT,
    Cause.TRACK,
    0,
    (28.0, 33.0),
    "19 dropouts on 4 of 4 strokes lie between 28 and 33 per cent of travel, none at rest; chance of such a "
    "gathering anywhere 3e-9; the supply did not move with any of them",
    "replace the sensor; do not try to clean the track",
)


def outcome(
    *,
    worn: bool = False,
    supply: bool = True,
    sense: Sense = Sense.RISING,
    verdict: Verdict | None = None,
    reason: str = "",
    remarks: tuple[str, ...] = (),
    findings: tuple[Finding, ...] | None = None,
    **setup: Any,
) -> Outcome:
    """A whole outcome: a pass, or with `worn` a fail; an unknown sense is undecided."""
    trace = make_trace(dropouts=worn, supply=supply)
    if not supply:
        setup = {"hookup": Hookup.TAPPED, **setup}
    told = make_setup(**setup)
    found = findings if findings is not None else ((WORN,) if worn else ())
    analysis = make_analysis(trace, sense=sense, findings=found)
    decided = verdict or (
        Verdict.FAIL if worn else Verdict.UNDECIDED if sense is Sense.UNKNOWN else Verdict.PASS
    )
    reasons = {
        Verdict.PASS: "Both ends within limits, uncertainty included.",
        Verdict.FAIL: "Worn spot on track A between 28 and 33 per cent of travel.",
        Verdict.UNDECIDED: "Which end is closed is not known.",
    }
    return Outcome(
        setup=told,
        trace=trace,
        analysis=analysis,
        judgement=Judgement(
            verdict=decided,
            reason=reason or reasons[decided],
            quantities=make_quantities(supply=supply, sense=sense),
            margins=make_margins(sense),
            findings=found,
            not_shown=analysis.not_shown,
            profile_name="adjustable-potentiometer",
            guard_factor=1.0,
            checks=make_checks(supply=supply, sense=sense),
            reservation=no_fault_text(4) if decided is Verdict.PASS else "",
        ),
        profile=load_profile("adjustable-potentiometer"),
        capture=make_capture(trace, told, snapshots=worn),
        calibration=make_calibration(),
        made_at="2031-03-04T10:16:30+00:00",
        versions={"sweeprig": "0.1.0"},
        remarks=remarks,
    )
