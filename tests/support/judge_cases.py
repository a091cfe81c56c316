"""Analyses built by hand and judged, for the tests of verdicts."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from support.outcomes import (
    CLOSED_V,
    OPEN_V,
    SUPPLY_V,
    make_analysis,
    make_calibration,
    make_setup,
    make_trace,
)
from sweeprig.analysis.model import Analysis, Cause, Code, End, Finding
from sweeprig.frontend import front_end
from sweeprig.judge.judge import judge
from sweeprig.judge.model import Check, Judgement, Margin, Verdict
from sweeprig.judge.profile import Profile, load_profile
from sweeprig.judge.rig import Rig

PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED
TRACE = make_trace(n=600)
ADJUSTABLE = load_profile("adjustable-potentiometer")
FIXED = load_profile("fixed-potentiometer")
OPPOSED = load_profile("two-tracks-opposed")
RECTANGULAR = 0.95 * math.sqrt(3)  # standard uncertainties that hold 95 % of a rectangular distribution


def end(value: float, *, supply: float = SUPPLY_V, u: float = 0.2e-3) -> End:
    return End(value, u, 12, 3, 900, 0.3e-3, 0.1e-3, value / supply)


def seen(
    low: float | End | None = CLOSED_V,
    high: float | End | None = OPEN_V,
    *,
    supply: float = SUPPLY_V,
    **more: Any,
) -> Analysis:
    ends = [end(v, supply=supply) if isinstance(v, float) else v for v in (low, high)]
    return replace(make_analysis(TRACE), **{"low": ends[0], "high": ends[1], "supply_v": supply, **more})


def given(analysis: Analysis, profile: Profile = ADJUSTABLE, **more: Any) -> Judgement:
    calibration, end = more.pop("calibration", make_calibration()), more.pop("front_end", front_end("full"))
    more = {"trace": TRACE, "setup": make_setup(), **more}
    return judge(
        analysis=analysis, profile=profile, rig=Rig(calibration, end) if calibration and end else None, **more
    )


def check(judgement: Judgement, name: str) -> Check:
    return next(c for c in judgement.checks if c.name == name)


def margin(judgement: Judgement, name: str) -> Margin:
    return next(m for m in judgement.margins if m.end == name)


def codes(judgement: Judgement) -> list[Code]:
    return [f.code for f in judgement.findings]


def finding(code: Code, cause: Cause, severity: str = "fault", **numbers: float) -> Finding:
    return Finding(code, cause, 0, (28.0, 33.0), "seen so", "do this", severity, numbers)
