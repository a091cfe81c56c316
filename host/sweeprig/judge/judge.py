"""One analysis against one profile. Calls the parts in their order; no algorithm is here."""

from __future__ import annotations

from dataclasses import replace

from sweeprig.analysis.model import Analysis, Code, Finding
from sweeprig.capture.model import SweepSetup, Trace
from sweeprig.judge import checks as ch
from sweeprig.judge import graded as gr
from sweeprig.judge.left_out import ends_are_judged
from sweeprig.judge.load import RigLoad, rig_load
from sweeprig.judge.measured import measure
from sweeprig.judge.model import UNKNOWN_U, Check, Judgement, Margin, OpenPoint, Quantity, Verdict
from sweeprig.judge.profile_model import Profile
from sweeprig.judge.pulled import pulled
from sweeprig.judge.rails import flag_reading as flag_reading
from sweeprig.judge.rails import margin_findings, rail_margins
from sweeprig.judge.rig import Rig as Rig
from sweeprig.judge.scale import make_scale
from sweeprig.judge.sense import doubted
from sweeprig.judge.track_b import open_point
from sweeprig.judge.unseen import not_shown, open_points
from sweeprig.judge.whole import REFUSED, no_fault_text, overall


def judge(
    *,
    analysis: Analysis,
    trace: Trace,
    setup: SweepSetup,
    profile: Profile,
    rig: Rig | None = None,
    guard_factor: float | None = None,
) -> Judgement:
    """Return the verdict on one capture; docs/methods-verdicts.md describes each step.

    `rig` is None for data that did not come from one: the intervals then hold the scatter of the data only.
    `guard_factor` None takes the profile's; 0 is simple acceptance.
    """
    unjudged_b = open_point(profile, trace, analysis.two_tracks)
    if profile.sensor.tracks < 2:
        analysis = replace(analysis, low_b=None, high_b=None, two_tracks=None)
    rig = None if rig is None else rig.during(trace)
    load = rig_load(setup, profile, None if rig is None else rig.front_end)
    g = profile.guard.factor if guard_factor is None else guard_factor

    def seen_of(found: Analysis) -> ch.CheckContext:
        scale = make_scale(analysis=found, trace=trace, setup=setup, profile=profile, rig=rig)
        quantities = measure(analysis=found, scale=scale, rig=rig, load=load)
        return ch.CheckContext(found, trace, profile, scale, quantities, g, rig)

    seen = seen_of(analysis)
    found = doubted(seen, seen_of, setup.sense)
    return _judged(seen if found is seen.analysis else seen_of(found), setup, load, unjudged_b)


def _judged(
    seen: ch.CheckContext, setup: SweepSetup, load: RigLoad, more_open: tuple[OpenPoint, ...]
) -> Judgement:
    margins, checks = _against_limits(seen)
    found = _findings(seen, margins, checks, setup)
    points = (*open_points(seen), *more_open)
    whole = overall(found, margins, checks, points, ends_judged=ends_are_judged(seen.profile))
    return Judgement(
        verdict=whole.verdict,
        reason=whole.reason,
        quantities={name: _reported(q) for name, q in seen.quantities.items()},
        margins=margins,
        findings=found,
        not_shown=not_shown(seen, load),
        profile_name=seen.profile.name,
        guard_factor=seen.guard_factor,
        checks=checks,
        reservation=no_fault_text(ch.n_full_strokes(seen.analysis)) if whole.verdict is Verdict.PASS else "",
        open_points=whole.open_points,
        within=whole.within,
    )


def _reported(q: Quantity) -> Quantity:
    """Return a quantity to which nothing known contributes an uncertainty with u95 None and the reason."""
    if q.value is None or q.u95:
        return q
    return replace(q, u95=None, u=None, coverage_factor=None, reason=q.reason or UNKNOWN_U, budget=())


def _against_limits(seen: ch.CheckContext) -> tuple[tuple[Margin, ...], tuple[Check, ...]]:
    """Return margins and checks; none for a signal that cannot be read, only the supply's for one without power."""
    codes = {f.code for f in seen.analysis.findings}
    if codes & set(REFUSED):
        return (), ()
    if Code.SUPPLY_CUT in codes:
        return (), ch.supply_checks(seen)
    margins = rail_margins(
        quantities=seen.quantities,
        analysis=seen.analysis,
        scale=seen.scale,
        profile=seen.profile,
        guard_factor=seen.guard_factor,
    )
    return margins, ch.all_checks(seen)


def _findings(
    seen: ch.CheckContext, margins: tuple[Margin, ...], checks: tuple[Check, ...], setup: SweepSetup
) -> tuple[Finding, ...]:
    own = gr.graded(seen.analysis, seen.profile)
    found = [
        *own,
        *gr.relation_findings(seen.analysis, seen.profile),
        *gr.sense_findings(seen.analysis, seen.profile),
        *margin_findings(margins, tuple(own), scale=seen.scale, profile=seen.profile),
        *gr.check_findings(checks, seen.profile, setup.hookup if seen.trace.source == "rig" else None),
    ]
    return gr.ordered(pulled(gr.without_repeats(found), checks))
