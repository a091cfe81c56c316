"""How far a capture reaches: what it refuses to say, and what it could not show."""

from __future__ import annotations

from dataclasses import replace

from sweepboard.wire import CHANNEL_NAMES
from sweeprig.analysis import late_angle, not_analogue
from sweeprig.analysis.coarse import COARSE_S, LEAST_SHARE
from sweeprig.analysis.detection_power import FEWEST_AT_ONE_PLACE
from sweeprig.analysis.flats import FEWEST_STROKES, fine_enough
from sweeprig.analysis.lacking import no_ground, no_supply
from sweeprig.analysis.model import Analysis, Cause, Code, End, Finding, LinearityResult, RawExtremes, Stroke
from sweeprig.analysis.sense import end_names
from sweeprig.analysis.slips import Odd, Slip, is_sure
from sweeprig.analysis.smoothness import SLOWEST_S
from sweeprig.analysis.supply import SupplySeen
from sweeprig.capture.model import Trace
from sweeprig.words import Sense

ENDS_APART_PERCENT = 0.5  # % of supply: spread of one end from rest to rest
FEWEST_PASSED = 2  # reversals of the lever beyond its rests: a single one may be a hand that pressed harder
BEYOND_PERCENT = 0.3  # % of supply by which one rest is beyond most others; no hand passes a stop
MUCH_PERCENT = 10.0  # % of the records: if more are missing, a whole movement may be in the gap
OF_ANGLE = "Linearity, hysteresis, play of lever and mount, angles in degrees"
BAD_PERCENT = 0.1  # % of the records: if the converter marks more as bad, that is a fault of the rig


def refused(trace: Trace, rail: float) -> list[Finding]:
    """Return the findings that forbid every number: over range, no analogue signal, data that contradicts itself."""
    over = not_analogue.over_range(trace)
    if over:
        names = ", ".join(CHANNEL_NAMES[k] for k in over)
        text = f"{names} at the top of the rig's range, {trace.full_scale_v:z.2f} V"
        step = "Do not sweep it with this rig: read it with a voltmeter or an oscilloscope made for its supply voltage."
        return [Finding(Code.RIG_OVER_RANGE, Cause.RIG, over[0], None, text, step)]
    kind = not_analogue.toggles(trace.signal_a, supply_v=rail)
    if kind:
        what = "switches on and off quickly" if kind == "pwm" else "shows only two levels"
        text = f"signal A {what} ({trace.signal_a.min_v.min():.2f} to {trace.signal_a.max_v.max():z.2f} V)"
        step = "Ask for the sensor's type: PWM, digital and on/off outputs need an oscilloscope."
        return [Finding(Code.NOT_ANALOGUE, Cause.WIRING, 0, None, text, step)]
    return []


def about_records(trace: Trace) -> list[Finding]:
    """Records that did not come, and those that the converter itself called bad."""
    out = []
    if trace.n_lost:
        text, step = f"{trace.n_lost} data blocks are missing", "Use another cable or port and sweep again."
        if trace.n_lost_before:
            text += f", {trace.n_lost_before} of them before the first one received"
        numbers = {"n_lost": float(trace.n_lost)}
        out.append(Finding(Code.RECORDS_LOST, Cause.RIG, None, None, text, step, "note", numbers))
    whole = trace.t_s.size + trace.n_flagged
    if trace.n_flagged > BAD_PERCENT / 100 * whole:
        text = f"the converter marks {trace.n_flagged} of {whole} data blocks as bad; they are left out"
        step = "Look at the rig's own supply and ground, and test the rig with a sensor known to be good."
        numbers = {"n_flagged": float(trace.n_flagged)}
        out.append(Finding(Code.BAD_CONVERSIONS, Cause.RIG, None, None, text, step, numbers=numbers))
    return out


def much_missing(trace: Trace) -> bool:
    """Whether so much is missing that a movement may lie in it."""
    gone = trace.n_lost + trace.n_flagged
    return gone > MUCH_PERCENT / 100 * (gone + trace.t_s.size)


def at_rest_so_far(still: Finding, trace: Trace) -> Finding:
    """A signal that did not move: a doubt where nobody may have moved the lever, or where much is missing."""
    open_yet = still.code is Code.NO_MOVEMENT or much_missing(trace)
    return replace(still, severity="doubt") if open_yet else still


def slipped(slip: Slip, trace: Trace, supply_v: float) -> Finding:
    """Both ends that moved together; a doubt where so little that a hand may do it."""
    text = (
        f"both ends shift by {slip.shift_v * 1e3:+z.0f} mV before {trace.t_s[slip.at]:.2f} s and stay there"
        + (": typical of a sensor that turns on its mount" if slip.turned else "")
    )
    step = "Fasten sensor, lever and mount; look at the ground wire if they are tight. Sweep again."
    severity = "fault" if is_sure(slip, supply_v=supply_v) else "doubt"
    if not slip.turned:
        text += "; but the lever turned at the same levels: it crept into its stops, so the rests differ"
        step = "Sweep again, and hold the lever firmly to each stop for a second."
    elif severity == "doubt":
        text += "; so little may come from how hard the lever was pressed"
    numbers = {"shift_v": slip.shift_v}
    return Finding(Code.ENDS_NOT_REPEATED, Cause.MOUNTING, 0, None, text, step, severity, numbers)


def odd_visit(odd: Odd, sense: Sense) -> Finding:
    """One visit of an end that stands off all others."""
    low, high = end_names(sense)
    name, other = (low, high) if odd.low else (high, low)
    off = f"{odd.shift_v * 1e3:+z.0f} mV off"
    n = odd.n_others
    text = {
        "first": f"the {name} end read {off} the first time, the {n} later times agree: the lever was not held to its "
        "stop, or the mount slipped in the first stroke",
        "between": f"the {name} end read {off} once, the other {n} times agree: the lever was not at its stop, the "
        "mount slipped and came back, or sensor ground shifts",
        "last": f"the {name} end read {off} the last time, the {n} times before agree; the {other} end was not reached "
        "after it: the mount may have slipped, or the lever was short of its stop",
    }[odd.when]
    step = "Check that sensor and lever are tight, then sweep again, firmly to both stops, with two more strokes."
    return Finding(
        Code.ENDS_NOT_REPEATED, Cause.MOUNTING, 0, None, text, step, "doubt", {"shift_v": odd.shift_v}
    )


def _held_short(name: str, end: End) -> Finding:
    """A visit that rests further from the stop than a hand does by itself: of a hand, or of a ground that moves."""
    text = (
        f"the {name} end read the same {end.n_agreeing} times and once {end.held_short_v * 1e3:z.0f} mV off. The lever "
        "was not at its stop that time, or sensor ground shifted"
    )
    step = (
        "Sweep again, firmly to the stop each time. If the ends still differ, look for play in lever and mount, then at"
        " the ground wire and its pin."
    )
    return Finding(
        Code.ENDS_NOT_REPEATED, Cause.MOUNTING, 0, None, text, step, "doubt", {"held_v": end.held_short_v}
    )


def ends_apart(ends: list[End | None], rail: float, sense: Sense) -> list[Finding]:
    """Ends that differ from rest to rest, the one that differs most first."""
    out = []
    for name, end in zip(end_names(sense), ends, strict=True):
        if end is None:
            continue
        spread = end.spread_v
        if end.n_turned_beyond >= FEWEST_PASSED:
            out.append(_passed(name, end))
            continue
        if end.held_short_v > 0.0 and end.n_agreeing > 1:
            out.append(_held_short(name, end))
            continue
        if spread > ENDS_APART_PERCENT / 100 * rail or end.beyond_v > BEYOND_PERCENT / 100 * rail:
            text = (
                f"the {name} end read differently each time that the lever was held there: typically "
                f"{spread * 1e3:z.0f} mV apart{_furthest(end)}"
            )
            step = (
                "Sweep again, the lever moved firmly to its stop each time; if that end still does not repeat, look"
                " for play in lever and mount."
            )
            out.append(
                Finding(
                    Code.ENDS_NOT_REPEATED, Cause.MOUNTING, 0, None, text, step, "doubt", {"spread_v": spread}
                )
            )
    return sorted(out, key=lambda f: -max(v for k, v in f.numbers.items() if k.endswith("_v")))


def _furthest(end: End) -> str:
    """Return how far one visit went beyond the others; "" where none did."""
    return f", once {end.beyond_v * 1e3:z.0f} mV further out than the others" if end.beyond_v > 0 else ""


def _passed(name: str, end: End) -> Finding:
    """The lever went further than where it rested: the level of the rests is not the end of the travel."""
    text = (
        f"the lever turned back {end.turned_beyond_v * 1e3:z.0f} mV further out than it rests at the {name} end, "
        f"{end.n_turned_beyond} times"
    )
    step = "Hold the lever at its stop for half a second at each end, and sweep again."
    numbers = {"passed_v": end.turned_beyond_v, "passed": float(end.n_turned_beyond)}
    return Finding(Code.ENDS_NOT_REPEATED, Cause.MOUNTING, 0, None, text, step, "doubt", numbers)


def _of_the_data(trace: Trace, span_v: float) -> list[str]:
    """What single readings, their rate and their resolution cannot show."""
    out = []
    if trace.single:
        out.append(
            "Dropouts between two readings: what is shorter than the time between them is not in this data."
        )
    if trace.window_s > COARSE_S:
        out.append(
            f"Steps, and wiper lifts smaller than {100 * LEAST_SHARE:.0f} % of the signal's whole change: at "
            f"{1 / trace.window_s:.0f} "
            "readings a second a quick movement looks the same. Record at least 500 readings a second."
        )
    if trace.window_s > SLOWEST_S:
        out.append(
            "Roughness and shallow dips: the readings are too far apart. Record at least 500 readings a second."
        )
    if trace.undithered and not fine_enough(trace.lsb_v, span_v):
        out.append(
            f"Flat spots, and roughness below {trace.lsb_v * 1e3:.3g} mV: the data has steps of that. Use a finer "
            "converter."
        )
    return out


def _of_the_strokes(strokes: tuple[Stroke, ...], ends: list[End | None], sense: Sense) -> list[str]:
    """Which judgements want more movement than there was, and how much of it."""
    n = len(strokes)
    if n == 0:
        return ["Track, strokes and ends: no lever movement seen. Move it from stop to stop, three times."]
    seen = f"{n} stroke seen" if n == 1 else f"{n} strokes seen"
    out = []
    if n < FEWEST_AT_ONE_PLACE:
        out.append(
            f"Worn spot or stray dropout: too few strokes ({seen}; two may fall on one spot by chance). Sweep at "
            f"least {FEWEST_AT_ONE_PLACE}."
        )
    if n < FEWEST_STROKES:
        out.append(f"Flat spot or hesitation of the hand: too few strokes ({FEWEST_STROKES} are needed).")
    for name, end in zip(end_names(sense), ends, strict=True):
        if end is not None and end.n_rests < 2:
            out.append(
                f"Repeatability of the {name} end, and a slipping mount: reached only once. Move there twice."
            )
    return out


def not_shown(
    trace: Trace,
    strokes: tuple[Stroke, ...],
    ends: list[End | None],
    sense: Sense,
    kind: str,
    *,
    span_v: float,
    line: LinearityResult | None,
) -> tuple[str, ...]:
    """What this capture could not show, each with what to do."""
    out = _of_the_strokes(strokes, ends, sense)
    for name, end in zip(end_names(sense), ends, strict=True):
        if end is None and strokes:  # without a stroke nothing says where the lever was
            out.append(
                f"The {name} end: the lever was never held still there. Hold it at that stop for half a second."
            )
    if trace.supply is None:
        out.append(no_supply(trace))
    if trace.ground_v is None:
        out.append(no_ground(trace))
    if trace.angle_deg is None:
        out.append(f"{OF_ANGLE}: they need an angle sensor. Use the driven build.")
    elif strokes and line is None:
        low, high = float(trace.angle_deg.min()), float(trace.angle_deg.max())
        out.append(
            f"{OF_ANGLE}: not judged, the angle does not move with the lever ({low:z.1f} to {high:z.1f} degrees). "
            "Look at encoder and coupling."
        )
    elif line is not None and line.late_s:
        out.append(f"{OF_ANGLE}: not judged, {late_angle.words(line.late_s)}.")
    if sense is Sense.UNKNOWN and strokes:
        out.append("Which end is closed: give the sense, or begin with the lever closed.")
    if kind in ("", "unknown"):
        out.append(
            "Smoothed on-off signal (filtered PWM): looks the same as an analogue one. Ask for the sensor's type."
        )
    return (*out, *_of_the_data(trace, span_v))


def plain(trace: Trace) -> RawExtremes:
    """Return what a bare minimum and maximum say."""
    return RawExtremes(float(trace.signal_a.min_v.min()), float(trace.signal_a.max_v.max()))


def empty(trace: Trace, seen: SupplySeen, findings: list[Finding], given: Sense) -> Analysis:
    """Return an analysis without numbers."""
    return Analysis(
        sense=given,
        sense_evidence="given by the operator"
        if given is not Sense.UNKNOWN
        else "not found: no analogue signal",
        low=None,
        high=None,
        strokes=(),
        rests=(),
        events=(),
        track_map=None,
        track_map_b=None,
        two_tracks=None,
        linearity=None,
        plain=plain(trace),
        supply_v=seen.median_v,
        noise_v=float("nan"),
        smoothness_percent=None,
        findings=tuple(findings),
        not_shown=("Ends, dropouts and track: the signal cannot be read as a position.",),
    )
