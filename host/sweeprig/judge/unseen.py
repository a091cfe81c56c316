"""What a capture leaves open, and remarks on the rig that belong to its verdict."""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.sense import BEGIN_S
from sweeprig.calibration.age import age_days
from sweeprig.calibration.model import Calibration
from sweeprig.calibration.uncertainty import beyond_points, channel_of
from sweeprig.judge.checks import CheckContext
from sweeprig.judge.left_out import left_out
from sweeprig.judge.load import RigLoad
from sweeprig.judge.model import OpenPoint
from sweeprig.judge.named_ends import place_of
from sweeprig.judge.track_b import missing_point
from sweeprig.words import percent

VERIFY_FAILED = "the rig failed its last verification"
VERIFY_STEP = "Calibrate the rig again (`sweeprig calibrate`); until then no sensor passes."

MOST_UNSEEN_PERCENT = (
    0.1  # % of the records: more of them missing, a single dropout may lie in what is missing
)
FAST_STROKES = "Small worn spots"
FAST_S = 0.4  # [s] a stroke: 1 % of travel then lasts four windows of 1 ms; own choice, no source
SKIRT_BINS = 2  # at either end, where strokes begin and end


def open_points(seen: CheckContext) -> tuple[OpenPoint, ...]:
    """Return what keeps a capture without a fault from being passed."""
    out = [*missing_point(seen.profile, seen.trace), *_missing(seen)]
    if seen.rig is not None and verify_failed(seen.rig.calibration):
        out.append(OpenPoint("verification of the rig", VERIFY_FAILED, VERIFY_STEP))
    return tuple(out)


def not_shown(seen: CheckContext, load: RigLoad) -> tuple[str, ...]:
    """Return what this capture and this profile together could not show, each with what to do."""
    out = list(seen.analysis.not_shown)
    unjudged = left_out(seen.profile, tracks=1 if seen.trace.signal_b is None else 2)
    out += [unjudged] if unjudged else []
    out += _too_fast(seen)
    out += _lost(seen)
    if seen.rig is None:
        out.append(
            "Accuracy of what measured this data: not known. Each ± covers only the noise and the steps of the "
            "readings, not an error of the instrument itself. Use a calibrated rig."
        )
    if seen.trace.source != "rig" and seen.scale.supply.value is not None:
        own, wide = seen.profile.limits.supply, seen.scale.supply_range
        out.append(
            f"Supply against the limits of its source: the source is not known, so the wider ones apply, "
            f"{wide.low:g} to {wide.high:g} V. From a controller: {own.low:g} to {own.high:g} V."
        )
    if seen.scale.supply.value is None and seen.profile.supply.ratiometric:
        r = seen.profile.limits.supply
        out.append(
            f"Limits at nominal supply: the supply was not measured; {r.low:g} to {r.high:g} V is assumed for them. "
            "Measure the supply too."
        )
    if seen.profile.sensor.tracks < 2 and seen.trace.signal_b is not None:
        out.append("Track B: the profile has one track, so B was not judged. Take a profile of two tracks.")
    out += _one_number(seen) + _load(seen, load) + _beyond(seen)
    return tuple(out)


def _one_number(seen: CheckContext) -> list[str]:
    """Return that the step of a supply which never changes is in no interval."""
    supply = seen.scale.supply
    if supply.value is None or supply.u95:
        return []
    of = "the ratios and the volts at nominal supply" if seen.profile.supply.ratiometric else "the ratios"
    return [
        f"Steps of the supply's readings: all of them are {supply.value:z.3f} V, so the \N{PLUS-MINUS SIGN} of {of} "
        "leaves its steps out. Record it with finer steps."
    ]


def _too_fast(seen: CheckContext) -> list[str]:
    """Return that a rig's sweep had strokes so fast that a small worn spot may not show."""
    times = [(s.stop - s.start) * seen.trace.window_s for s in seen.analysis.strokes if s.full]
    if seen.trace.source != "rig" or not times or (usual := float(np.median(times))) >= FAST_S:
        return []
    why = f"strokes of {usual:.2f} s pass a narrow one too fast. Sweep again, {FAST_S:g} s a stroke or more."
    return [f"{FAST_STROKES}: {why}"]


def _lost(seen: CheckContext) -> list[str]:
    lost, bad = seen.trace.n_lost, seen.trace.n_flagged
    total, out = lost + bad + seen.trace.t_s.size, []
    if lost:
        shares = [
            (s.unseen_percent, k) for k, s in enumerate(seen.analysis.strokes, 1) if s.unseen_percent > 0
        ]
        strokes = ", ".join(f"{share:.1f} % of stroke {k}" for share, k in shares)
        out.append(
            f"{lost} of {total} data blocks ({percent(100 * lost / max(total, 1))} %) were lost and are not judged"
            f"{f': {strokes}' if strokes else ''}. Use another cable or port."
        )
    if bad:
        out.append(
            f"{bad} of {total} data blocks hold readings that the converter marks as bad; they are not judged."
        )
    return out


def _missing(seen: CheckContext) -> list[OpenPoint]:
    """What was lost: places of the travel with too few strokes, else its share of the whole."""
    trace, late_s = seen.trace, seen.trace.n_lost_before * seen.trace.window_s
    gone = trace.n_lost - trace.n_lost_before + trace.n_flagged
    share = 100 * gone / max(gone + trace.t_s.size, 1)
    if late_s > BEGIN_S:
        text = f"the first {late_s:.2f} s are missing, so the starting end is not known"
        return [OpenPoint("start of the sweep", text, "Sweep again.")]
    places = _thin_places(seen) if gone or trace.gap_before.any() else ""
    if places:
        text = f"{places}: data is missing there"
        return [OpenPoint("missing data", text, "Sweep again with another cable or port.")]
    if share <= MOST_UNSEEN_PERCENT:
        return []
    text = f"{percent(share)} % of the data is missing; a dropout there would not be seen"
    return [OpenPoint("missing data", text, "Sweep again with another cable or port.")]


def _thin_places(seen: CheckContext) -> str:
    """Where fewer strokes were seen than the profile wants, in words."""
    track, need = seen.analysis.track_map, seen.profile.limits.strokes.value
    if track is None:
        return ""
    thin = track.strokes_seen < need
    thin[:SKIRT_BINS] = thin[-SKIRT_BINS:] = False
    runs = np.flatnonzero(np.diff(np.pad(thin.astype(np.int8), 1))).reshape(-1, 2)
    if not runs.size:
        return ""
    spans = ", ".join(f"{track.edge_percent[a]:.0f} to {track.edge_percent[b]:.0f} %" for a, b in runs[:3])
    more = f" and {len(runs) - 3} more places" if len(runs) > 3 else ""
    return (
        f"at {spans} of travel{more} fewer than {need:.0f} strokes were seen "
        f"({int(track.strokes_seen[thin].min())} at the least)"
    )


def _load(seen: CheckContext, load: RigLoad) -> list[str]:
    if load.track_ohm is None or load.shift_percent <= seen.profile.limits.loading.value:
        return []
    return [
        f"Shift of the volts by the rig itself: it draws a little current from the signal. On a track of "
        f"{load.track_ohm / 1e3:g} kilohm that shifts the volts by up to {load.shift_percent:.2g} % of supply, most at "
        "two thirds of the travel. The ± includes it. For a smaller ±: measure the track's resistance and enter it "
        "(`--track-ohm`)."
    ]


def _beyond(seen: CheckContext) -> list[str]:
    """Ends outside the voltages at which the rig was calibrated."""
    own = None if seen.rig is None else channel_of(seen.rig.calibration, 0)
    out = []
    for name in ("low", "high"):
        value = seen.quantities[f"{name}_v"].value
        if own is not None and value is not None and beyond_points(value, own):
            out.append(
                f"The {place_of(name, seen.analysis.sense)} end at {value:z.3f} V is outside the volts at which the rig"
                " was calibrated. Calibrate over the whole range."
            )
    return out


def verify_failed(calibration: Calibration) -> bool:
    """True where the last check standard of this rig failed."""
    return bool(calibration.verified and calibration.verified[-1].get("verdict") == "fail")


OF_OLD = "2000-01-01T00:00:00+00:00"  # any valid date, to try whether another one is valid
CLOCKS_APART = 1 / 24  # d; by which a calibration may be dated after a capture without a word


def rig_marks(calibration: Calibration | None, *, taken_at: str) -> tuple[str, ...]:
    """Return remarks on the rig for the sheet: no calibration or one too old, a failed check standard, other remarks.

    `taken_at`: ISO 8601 with offset, when the capture was taken; one that does not read is no reason to mark.
    """
    if calibration is None:
        return ()
    out = []
    if calibration.kind == "nominal":
        out.append(
            "Test equipment not calibrated: each ± is estimated from the tolerances of the rig's parts."
        )
    elif age_days(calibration.made_at, OF_OLD) is None:
        out.append(
            "The date of the calibration is not known, so it counts as too old: calibrate the rig again."
        )
    age = age_days(calibration.made_at, taken_at)
    if age is not None and age > calibration.max_age_days:
        out.append(
            f"The calibration was {age:.0f} days old, limit {calibration.max_age_days:.0f}: calibrate the rig again."
        )
    if age is not None and age < -CLOCKS_APART:
        out.append(
            f"The calibration is dated {-age:.0f} days after the capture: one of the two clocks was wrong."
        )
    if verify_failed(calibration):
        out.append(f"{VERIFY_FAILED[:1].upper()}{VERIFY_FAILED[1:]}: calibrate it again.")
    return (*out, *calibration.remarks)
