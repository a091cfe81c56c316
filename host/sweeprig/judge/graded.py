"""The analysis's findings as this profile weighs them, and the findings that its limits add."""

from __future__ import annotations

from dataclasses import replace

from sweepboard.wire import SIGNAL_B
from sweeprig.analysis.findings import LOOK_FOR_BRIDGE
from sweeprig.analysis.model import Analysis, Cause, Code, Finding
from sweeprig.judge.model import Check, Verdict
from sweeprig.judge.names import name_of
from sweeprig.judge.profile_model import Profile
from sweeprig.words import Hookup, Sense

CAUSE_ORDER = (
    Cause.ENGINE,
    Cause.RIG,
    Cause.WIRING,
    Cause.SUPPLY,
    Cause.GROUND,
    Cause.CONNECTION,
    Cause.TRACK,
    Cause.INTERFERENCE,
    Cause.MOUNTING,
)
SEVERITY_ORDER = ("fault", "doubt", "note")
BY_DEPTH = (Code.WORN_SPOT, Code.LOOSE_CONNECTION, Code.STRAY_DROPOUT, Code.SUPPLY_DROPOUT)
LIKE_ONE = 0.05  # slope of B against A this near 1, where it should be another, says that the two are joined
TRACK_CODES = (Code.TRACKS_SHORTED, Code.TRACKS_DISAGREE)


def graded(analysis: Analysis, profile: Profile) -> list[Finding]:
    """Return the analysis's findings; those of a track that the profile does not have are left out."""
    out = []
    for f in analysis.findings:
        if profile.sensor.tracks < 2 and (f.channel == 1 or f.code in TRACK_CODES):
            continue
        if f.code is Code.TRACKS_DISAGREE and profile.limits.correlation is not None:
            continue  # judged against the profile's own limit instead
        out.append(_by_depth(f, profile.limits.dropout.value))
    return out


def _by_depth(f: Finding, least_percent: float) -> Finding:
    """Events shallower than the profile's limit are a note."""
    depth = f.numbers.get("worst_depth_percent")
    if f.code not in BY_DEPTH or depth is None or depth >= least_percent:
        return f
    return replace(
        f, severity="note", evidence=f"{f.evidence}; shallower than {least_percent:g} % of supply: a note"
    )


def ordered(found: list[Finding]) -> tuple[Finding, ...]:
    """Return the findings, worst first: by severity, then by the cause that explains others."""
    return tuple(sorted(found, key=lambda f: (SEVERITY_ORDER.index(f.severity), CAUSE_ORDER.index(f.cause))))


def sense_findings(analysis: Analysis, profile: Profile) -> list[Finding]:
    """Return a finding where the sensor runs against the profile's sense."""
    wanted = profile.sensor.sense
    if wanted == "either" or analysis.sense is Sense.UNKNOWN or analysis.sense.value == wanted:
        return []
    if any(f.code is Code.WRONG_SENSE for f in analysis.findings):
        return []
    text = f"the signal is {analysis.sense.value} ({analysis.sense_evidence}); the profile asks for {wanted}"
    step = (
        "Check whether supply and ground are swapped: on a potentiometer this only reverses the sense. If they are "
        "right, this is another part."
    )
    return [Finding(Code.WRONG_SENSE, Cause.WIRING, 0, None, text, step)]


def check_findings(checks: tuple[Check, ...], profile: Profile, hookup: Hookup | None) -> list[Finding]:
    """Return the findings of failed checks; a hookup of None is not known."""
    out = []
    for c in checks:
        maker = _MAKERS.get(c.name)
        if c.verdict is Verdict.FAIL and maker is not None:
            out.append(maker(c, profile, hookup))
    return out


def _seen(c: Check) -> str:
    value = "not measured" if c.value is None else f"{c.value:z.3f}"
    spread = "" if c.u95 is None else f" ± {c.u95:.3f}"
    bounds = " to ".join(f"{b:.3f}" for b in (c.low, c.high) if b is not None)
    word = "at least " if c.high is None else "at most " if c.low is None else ""
    return f"{value}{spread} {c.unit} against {word}{bounds} {c.unit} ({c.source})"


def _end(c: Check, profile: Profile, _hookup: Hookup | None) -> Finding:
    closed = c.name.startswith("closed")
    track = " of track B" if c.name.endswith("_b") else ""
    step = (
        "Turn the sensor on its mount (`sweeprig aim`); if the vehicle's data names other volts, use those."
        if profile.sensor.slotted
        else "Check stop and lever, and that the profile is the one of this part."
    )
    return Finding(
        Code.CLOSED_OUT_OF_RANGE if closed else Code.OPEN_OUT_OF_RANGE,
        Cause.MOUNTING,
        1 if track else 0,
        (0.0, 1.0) if closed else (99.0, 100.0),
        f"{'closed' if closed else 'open'} throttle{track}: {_seen(c)}",
        step,
    )


def _span(c: Check, _profile: Profile, _hookup: Hookup | None) -> Finding:
    text = f"{name_of(c.name)}: {_seen(c)}"
    step = "Move the lever from stop to stop. If you did, check the stops, the coupling, and that it is the right part."
    return Finding(Code.OPEN_OUT_OF_RANGE, Cause.MOUNTING, 0, None, text, step)


def _supply(c: Check, _profile: Profile, hookup: Hookup | None) -> Finding:
    step = {
        Hookup.POWERED: "The rig powers this sensor: check the USB port and its cable, and the sensor for a short.",
        Hookup.TAPPED: "Check the supply at the controller's plug, then the wire to the sensor.",
        None: "Check the supply where it comes from, then the wire to the sensor.",
    }[hookup]
    return Finding(Code.SUPPLY_OUT_OF_RANGE, Cause.SUPPLY, 2, None, f"supply at the sensor: {_seen(c)}", step)


def relation_findings(analysis: Analysis, profile: Profile) -> list[Finding]:
    """Return a finding where the tracks are related otherwise than the profile says and no slope is limited."""
    two, wanted = analysis.two_tracks, profile.sensor.relation
    if two is None or wanted == "none" or profile.limits.slope_b is not None or two.relation == wanted:
        return []
    text = f"the tracks look {two.relation} (slope {two.slope:.3f}); the profile asks for {wanted}"
    step = "Check which track is A and which is B, and that the profile is the one of this part."
    return [Finding(Code.TRACKS_DISAGREE, Cause.TRACK, 1, None, text, step)]


def without_repeats(found: list[Finding]) -> list[Finding]:
    """Leave out what else is said of the two tracks where they are shorted, or B is stuck: the first says it all."""
    says_all = next((f for f in found if f.code is Code.TRACKS_SHORTED or _stuck_b(f)), None)
    if says_all is None:
        return found
    return [f for f in found if f is says_all or f.code not in TRACK_CODES]


def _stuck_b(f: Finding) -> bool:
    return f.code in (Code.STUCK_LOW, Code.STUCK_HIGH) and f.channel == SIGNAL_B


def _tracks(c: Check, profile: Profile, _hookup: Hookup | None) -> Finding:
    what = name_of(c.name)
    step = f"Sweep each track alone; check which is A and which is B, and that the part is {profile.sensor.relation}."
    if c.name == "slope_b" and c.value is not None and abs(c.value - 1) < LIKE_ONE:
        text = f"{what}: {_seen(c)}: nearly one signal, typical of two tracks shorted through a few ohms"
        return Finding(Code.TRACKS_SHORTED, Cause.WIRING, None, None, text, LOOK_FOR_BRIDGE)
    other_way = 1 / c.value if c.value else None
    if c.name == "slope_b" and other_way and (c.low or 0.0) <= other_way <= (c.high or 0.0):
        step = "A and B appear swapped: swap them and sweep again."
    return Finding(Code.TRACKS_DISAGREE, Cause.TRACK, 1, None, f"{what}: {_seen(c)}", step)


def _linear(c: Check, _profile: Profile, _hookup: Hookup | None) -> Finding:
    code = Code.NOT_LINEAR if c.name == "linearity" else Code.HYSTERESIS
    step = "Sweep again with the angle measured; if the result is the same, replace the sensor."
    return Finding(code, Cause.TRACK, 0, None, f"{name_of(c.name)}: {_seen(c)}", step)


_MAKERS = {
    "closed": _end,
    "open": _end,
    "closed_b": _end,
    "open_b": _end,
    "span": _span,
    "supply": _supply,
    "slope_b": _tracks,
    "sum_b": _tracks,
    "correlation": _tracks,
    "linearity": _linear,
    "hysteresis": _linear,
}
