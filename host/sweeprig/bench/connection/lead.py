"""The test of the rig's lead: a plug with fixed resistors takes the place of the sensor, and the lead is shaken."""

from __future__ import annotations

from collections.abc import Callable

from sweeprig.analysis.channel_events import events_of
from sweeprig.analysis.model import Event
from sweeprig.bench.hookup.lead_book import LeadCheck
from sweeprig.bench.hookup.prepare import wait_until_dead
from sweeprig.bench.hookup.rules import check_dead, check_power
from sweeprig.bench.readings import live
from sweeprig.bench.readings.limits import limit
from sweeprig.bench.readings.live import Levels
from sweeprig.bench.session import Session
from sweeprig.errors import HookupError
from sweeprig.link.messages import Records
from sweeprig.words import Hookup

STEP_S = 0.5


def judge_lead(
    still: Levels,
    events: list[Event],
    *,
    wanted_ratio: float,
    shaken_s: float,
    made_at: str,
    operator: str = "",
) -> LeadCheck:
    """Return whether a lead is good: ratio and noise at rest, no event while it was shaken."""
    supply = still.supply_v
    ratio = still.signal_v / supply if supply else 0.0
    reasons = []
    if not supply:
        reasons.append("no supply seen")
    elif abs(ratio - wanted_ratio) > limit("lead.ratio_tol"):
        reasons.append(f"ratio {ratio:.4f} instead of {wanted_ratio:z.4f} ± {limit('lead.ratio_tol'):.3f}")
    if still.noise_v > limit("lead.noise_v"):
        reasons.append(f"noise {1000 * still.noise_v:z.1f} mV above {1000 * limit('lead.noise_v'):z.1f} mV")
    if events:
        deepest = max(e.depth_percent for e in events)
        reasons.append(f"{len(events)} events while shaken, up to {deepest:.0f} % of supply")
    return LeadCheck(
        made_at=made_at,
        passed=not reasons,
        ratio=round(ratio, 6),
        wanted_ratio=wanted_ratio,
        noise_v=still.noise_v,
        n_events=len(events),
        shaken_s=shaken_s,
        operator=operator,
        reason="; ".join(reasons),
    )


def run_lead_check(
    s: Session,
    *,
    wanted_ratio: float,
    progress: Callable[[float, Levels], None] = lambda _s, _seen: None,
) -> LeadCheck:
    """Power the test plug through the lead and test it; all off in the end. Raises HookupError, LinkError.

    The session has not switched anything on yet.
    """
    if s.setup.hookup != Hookup.POWERED:
        raise HookupError(
            "The lead is tested with the rig powering the test plug.",
            seen=str(s.setup.hookup),
            limit="--hookup powered",
            next_step="take the lead off the harness, put the test plug on, and use --hookup powered",
        )
    with live.streaming(s.client, Hookup.POWERED):
        s.ask.say(check_dead(wait_until_dead(s.volts)))
        s.power_on()
        still = live.levels_now(s.volts, seconds=1.0, settle_s=limit("first_power.settle_s"))
        s.ask.say(check_power(still, end=s.volts.front_end, where="the test plug"))
        s.ask.say(f"Now shake the lead and its plugs for {limit('lead.shake_s'):.0f} s.")
        events = _shaken(s, progress)
    s.off()
    return judge_lead(
        still,
        events,
        wanted_ratio=wanted_ratio,
        shaken_s=limit("lead.shake_s"),
        made_at=s.now().isoformat(timespec="seconds"),
        operator=s.setup.operator,
    )


def _shaken(s: Session, progress: Callable[[float, Levels], None]) -> list[Event]:
    parts: list[Records] = []
    settle = 0.1
    for step in range(round(limit("lead.shake_s") / STEP_S)):
        fresh = s.collect(seconds=STEP_S, settle_s=settle)
        s.power.check()
        settle = 0.0
        parts += [e for e in fresh if isinstance(e, Records)]
        progress((step + 1) * STEP_S, live.levels(s.volts, fresh))
    return events_of(s.volts.trace(Records.concatenate(parts)))
