"""Outcomes that strain a sheet: two tracks, much text, hostile text, a vehicle, losses, wiggling. All invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from support import outcomes as oc
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Cause, Code, Event, Finding, LinearityResult, TwoTracks
from sweeprig.bench.review.review import Choices, review_capture
from sweeprig.capture.model import Channel, Trace
from sweeprig.frontend import front_end
from sweeprig.judge.judge import judge
from sweeprig.judge.model import Check, Margin, Verdict
from sweeprig.judge.outcome import Outcome
from sweeprig.judge.profile import load_profile
from sweeprig.judge.rig import Rig
from sweeprig.link.messages import Mark
from sweeprig.twin.capture import capture_of
from sweeprig.words import Hookup, Sense, Starts

HOSTILE = (
    '<script>document.title="owned"</script>',
    '"><img src=x onerror=alert(1)>',
    "{{ 7 * 7 }} {% raw %}",
    "</style><style>*{display:none}",
    "]]></svg><svg onload=alert(1)>",
    "=HYPERLINK(1)",
    "\u202eright to left\u202c",
    "\x1b[31mred\x07\x00\ufffe",
)


def two_tracks() -> Outcome:
    """Two parallel tracks, B at half scale, both good."""
    base = oc.outcome()
    a = base.trace.signal_a
    half = Channel(a.mean_v / 2, a.min_v / 2, a.max_v / 2)
    quantities = dict(base.judgement.quantities)
    for name in ("low", "high", "closed", "open"):
        q = quantities[f"{name}_v"]
        quantities[f"{name}_b_v"] = replace(q, name=f"{name}_b_v", value=q.value / 2)
        if f"{name}_ratio" in quantities:
            r = quantities[f"{name}_ratio"]
            quantities[f"{name}_b_ratio"] = replace(r, name=f"{name}_b_ratio", value=r.value / 2)
    more = (
        Check("closed_b", 0.226, 1.2e-3, "V", 0.2, 0.25, Verdict.PASS, "common practice, no source"),
        Check("slope_b", 0.5, 8e-4, "V/V", 0.48, 0.52, Verdict.PASS, "common practice, no source"),
        Check("correlation", 0.4, 0.1, "%", None, 2.0, Verdict.PASS, "common practice, no source"),
    )
    analysis = replace(
        base.analysis,
        two_tracks=TwoTracks("half-scale", 0.5, 0.0002, 0.02, 0.4, 61.0),
        track_map_b=base.analysis.track_map,
    )
    return replace(
        base,
        trace=replace(base.trace, signal_b=half),
        analysis=analysis,
        judgement=replace(base.judgement, quantities=quantities, checks=(*base.judgement.checks, *more)),
        profile=load_profile("two-tracks-half-scale"),
    )


def huge() -> Outcome:
    """Every typed text and every list far longer than anyone means to have it."""
    words = "a very long line of words that goes on " * 30
    unbroken = "W" * 3000
    base = oc.outcome(
        worn=True,
        job=unbroken,
        sensor_label=words,
        part=unbroken,
        serial=words,
        operator=unbroken,
        notes=words,
    )
    found = tuple(replace(oc.WORN, evidence=words, next_step=words) for _ in range(30))
    setup = replace(base.setup, lead_checked=words, prepared=(words,) * 5, confirmed=(unbroken,) * 5)
    judgement = replace(
        base.judgement,
        reason=words,
        findings=found,
        not_shown=(words,) * 12,
        margins=base.judgement.margins * 20,
    )
    analysis = replace(base.analysis, sense_evidence=words, findings=found)
    capture = replace(base.capture, board_text=(unbroken,) * 30, snapshots=base.capture.snapshots * 40)
    return replace(
        base,
        setup=setup,
        judgement=judgement,
        analysis=analysis,
        capture=capture,
        remarks=(words,) * 9,
        versions={unbroken: words},
    )


def hostile() -> Outcome:
    """Markup, templates, formulas and control characters wherever a text can come from."""
    h = HOSTILE
    finding = Finding(Code.STRAY_DROPOUT, Cause.CONNECTION, 0, None, h[0], h[1])
    base = oc.outcome(
        job=h[0],
        sensor_label=h[1],
        part=h[2],
        serial=h[3],
        operator=h[4],
        notes=" ".join(h),
        findings=(finding,),
    )
    setup = replace(base.setup, override=h[1], lead_checked=h[6], prepared=h, confirmed=h, sensor_kind=h[0])
    rig = {**base.capture.rig, "build": h[0], "chip": h[1], "uid": h[3], "firmware": h[7]}
    capture = replace(base.capture, rig=rig, board_text=h, coaching=h, ended=h[0], created=h[0])
    calibration = replace(base.calibration, kind=h[0], made_at=h[1], verified=({h[0]: h[1]},))
    judgement = replace(base.judgement, reason=h[0], not_shown=h, profile_name=h[4], reservation=h[1])
    return replace(
        base,
        setup=setup,
        capture=capture,
        calibration=calibration,
        judgement=judgement,
        analysis=replace(base.analysis, sense_evidence=h[0]),
        trace=replace(base.trace, name=h[0]),
        remarks=h,
        made_at=h[0],
        versions={h[0]: h[1]},
    )


def vehicle() -> Outcome:
    """Tapped in a vehicle with an override, part of the capture lost, a margin that is not kept."""
    base = oc.outcome(
        verdict=Verdict.FAIL,
        reason="Closed throttle stands too near the lower rail.",
        hookup=Hookup.TAPPED,
        setting="vehicle",
        override="engine cannot be stopped: battery flat, on a charger",
        vehicle_drive="combustion",
    )
    lost = np.zeros(base.trace.t_s.size, bool)
    lost[1500] = lost[3600] = True
    t_s = base.trace.t_s.copy()
    t_s[1500:] += 0.12
    t_s[3600:] += 0.01
    near = Margin("closed", "lower", 0.187, 1.8e-3, 0.2, Verdict.FAIL, measured_v=0.187)
    finding = Finding(
        Code.MARGIN_CLOSED, Cause.MOUNTING, 0, None, "closed throttle is 0.187 V, limit 0.200 V",
        "loosen the two screws, turn the sensor until closed throttle reads 0.45 V, sweep again",
    )  # fmt: skip
    return replace(
        base,
        trace=replace(base.trace, t_s=t_s, gap_before=lost, n_lost=131),
        judgement=replace(
            base.judgement,
            margins=(near, base.judgement.margins[1]),
            findings=(finding,),
            checks=oc.make_checks(),
        ),
        setup=replace(
            base.setup,
            prepared=("Engine state NOT measured: this hookup has no battery reading.",),
            confirmed=("cautions", "laptop-battery", "usb-first"),
            lead_checked="2031-03-04 passed: ratio 0.5001, noise 0.41 mV, 0 events in 20 s of shaking",
        ),
        capture=replace(base.capture, ended="unplugged", bad_frames=2),
        remarks=("The calibration is older than 180 days.",),
    )


def wiggle() -> Outcome:
    """At rest with the harness being moved: events on signal and supply, marks of the rig's button."""
    base = oc.outcome(
        verdict=Verdict.FAIL, reason="Loose connection: supply and signal fall together.", task="wiggle"
    )
    rng = np.random.default_rng(3)
    n = base.trace.t_s.size
    mean = np.full(n, 0.452) + rng.normal(0, 0.5e-3, n)
    low, rail_low = mean - 2e-3, base.trace.supply.min_v.copy()
    hits = [900, 905, 911, 2600, 2604, 2610, 2615, 4200, 4210, 4222, 4230]
    low[hits], rail_low[hits] = 0.02, 0.6
    events = tuple(
        Event(float(base.trace.t_s[i]), 0.3e-3, 0, "to-ground", 8.6, None, None, True, True, 90.0)
        for i in hits
    )
    marks = tuple(Mark(i, 0, k) for k, i in enumerate((700, 2400, 4000), 1))
    trace: Trace = replace(
        base.trace,
        signal_a=Channel(mean, low, mean + 2e-3),
        supply=replace(base.trace.supply, min_v=rail_low),
    )
    finding = Finding(
        Code.LOOSE_CONNECTION, Cause.SUPPLY, 2, None, "11 dropouts at rest, each with the supply",
        "clean and tighten the supply pin of the plug, then wiggle again",
    )  # fmt: skip
    analysis = replace(
        base.analysis,
        strokes=(),
        rests=(),
        events=events,
        track_map=None,
        low=None,
        high=None,
        sense=Sense.UNKNOWN,
    )
    missing = {k: replace(q, value=None, u95=None, budget=(), reason="no movement") for k, q in
               base.judgement.quantities.items() if k != "supply_v"}  # fmt: skip
    return replace(
        base,
        trace=trace,
        analysis=analysis,
        capture=replace(base.capture, marks=marks),
        judgement=replace(
            base.judgement,
            findings=(finding,),
            margins=(),
            checks=(),
            quantities={**missing, "supply_v": base.judgement.quantities["supply_v"]},
        ),
    )


def with_angle() -> Outcome:
    """A driven rig: linearity and hysteresis measured; nothing typed, never calibrated."""
    base = oc.outcome(job="", sensor_label="", part="", serial="", operator="")
    angle = np.linspace(0, 90, base.trace.t_s.size)
    found = LinearityResult(0.31, 0.62, 0.37, 0.05, 0.0448, 0.4, 0.2)
    return replace(
        base,
        trace=replace(base.trace, angle_deg=angle),
        analysis=replace(base.analysis, linearity=found),
        calibration=oc.make_calibration(kind="nominal", made_at="", meter=None, temperature_c=None),
    )


def from_csv() -> Outcome:
    """A table from elsewhere: no rig, no calibration, no capture file."""
    base = oc.outcome()
    trace = replace(base.trace, source="csv", name="recorder.csv", shortest_dropout_s=None, lsb_v=0.0)
    return replace(base, trace=trace, capture=None, calibration=None)


def judged() -> Outcome:
    """The worn sensor as the analysis and the judgement themselves see it, with all that they say."""
    base, profile = oc.outcome(worn=True), load_profile("adjustable-potentiometer")
    found = analyse(base.trace, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)
    verdict = judge(
        analysis=found,
        trace=base.trace,
        setup=base.setup,
        profile=profile,
        rig=Rig(oc.make_calibration(), front_end("full")),
    )
    return replace(base, analysis=found, judgement=verdict, profile=profile)


def remarked() -> Outcome:
    """One finding and long names, on a rig that was never calibrated: one remark."""
    base = judged()
    part = "three-wire position sensor, 10 kohm"
    setup = replace(
        base.setup, job="order 0417 (invented)", sensor_label="as-found", part=part, serial="SIM-417"
    )
    return replace(
        base,
        setup=setup,
        judgement=replace(base.judgement, findings=base.judgement.findings[:1]),
        calibration=oc.make_calibration(kind="nominal"),
        remarks=(
            "Test equipment not calibrated: each ± is estimated from the tolerances of the rig's parts.",
        ),
    )


def fixed_mount(**setup: str) -> Outcome:
    """A simulated good sensor on a calibrated rig, its track measured, judged by a fixed mount: every limit passes."""
    chosen = Choices(profile="fixed-potentiometer", track_ohm=5000)
    made = review_capture(capture_of("good", seed=3, seconds=8.0), chosen)
    assert made.capture is not None
    named = {"sensor_label": "shelf 3", "job": "1042", "operator": "R. Invented", **setup}
    capture = replace(
        made.capture, sha256=oc.SHA, versions={"sweeprig": "0.1.0", "numpy": "2.3.4", "scipy": "1.16.3"}
    )
    return replace(
        made,
        setup=replace(made.setup, **named),
        capture=capture,
        calibration=oc.make_calibration(made_at="1999-12-20T09:00:00+00:00"),
        remarks=(),
    )


def owned() -> Outcome:
    """The same with workshop, customer and vehicle, each as long as a letter has it."""
    return fixed_mount(
        workshop="Invented Works, Bay 2, Long Lane 17, Sampletown",
        customer="C. Invented-Example and Daughters, farm services",
        vehicle="Land vehicle 4.2, registration AB12 CDE, chassis 0001234567890",
    )


LONG_NAMES = {
    "workshop": "Invented Works for Marine and Land Engines, Bay 2, Long Lane 17, Sampletown by the Sea",
    "customer": "C. Invented-Example and Daughters, farm services, boats, and haulage of the whole county",
    "vehicle": "Land vehicle 4.2, registration AB12 CDE, chassis 0001234567890, second of the two in the yard",
    "job": "order 0417 of the second quarter (invented)",
    "sensor_label": "as found on the shelf beside the window",
    "part": "three-wire position sensor, 10 kohm, with a slotted mount and a long lead",
    "serial": "SIM-417-0001-2031-A-REBUILT",
    "operator": "demo operator (invented), of the second shift",
}


def long_named(base: Outcome) -> Outcome:
    """The same with names as long as somebody may type them."""
    return replace(base, setup=replace(base.setup, **LONG_NAMES))


def _kept(made: Outcome) -> Outcome:
    """The outcome of a capture that is in a file."""
    assert made.capture is not None
    return replace(made, capture=replace(made.capture, sha256=oc.SHA))


def track_b_worn() -> Outcome:
    """Two tracks, the second worn, as the analysis and the judgement see it."""
    return _kept(review_capture(capture_of("two-tracks-worn-b", seed=3, seconds=8.0)))


def loose() -> Outcome:
    """A loose connection, as the analysis and the judgement see it."""
    return _kept(review_capture(capture_of("loose-connector", seed=3, seconds=8.0)))


def cases() -> dict[str, Outcome]:
    """Every outcome that a sheet is looked at with."""
    return {
        "good": oc.outcome(),
        "worn": oc.outcome(worn=True),
        "unknown": oc.outcome(sense=Sense.UNKNOWN),
        "falling": oc.outcome(sense=Sense.FALLING),
        "no-supply": oc.outcome(supply=False),
        "two-tracks": two_tracks(),
        "vehicle": vehicle(),
        "wiggle": wiggle(),
        "angle": with_angle(),
        "csv": from_csv(),
        "judged": judged(),
        "remarked": remarked(),
        "huge": huge(),
        "hostile": hostile(),
        "fixed-mount": fixed_mount(),
        "owned": owned(),
        "track-b-worn": track_b_worn(),
        "loose": loose(),
    }
