"""Margins of the ends to the rails, and the live reading against them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sweeprig.analysis.model import Analysis, Cause, Code, Finding
from sweeprig.judge.decide import decide, remedy, would_decide
from sweeprig.judge.model import RAIL_NAMES, Margin, Quantity, Verdict
from sweeprig.judge.named_ends import place_of, sense_of
from sweeprig.judge.names import source_of
from sweeprig.judge.profile_model import Profile
from sweeprig.judge.scale import Scale

TURN = "Turn the sensor on its mount until both ends have their margins"
FIXED = "Check stop, lever and part: this mount does not let the sensor be turned"
LEAST_WIDTH = (
    0.1  # of the nominal supply: an interval up to this is no reason to doubt a level; own choice, no source
)
MOST_OF_SPAN = (
    0.5  # of the least distance of the ends: a level with a wider interval is none; own choice, no source
)
UNKNOWN = (  # nothing is known of the mount
    "Check stop, lever, mount and part; a sensor whose screws sit in slots can be turned"
    " (`sweeprig aim --mount slotted`)"
)


@dataclass(frozen=True)
class Flag:
    """One live reading against the rails; `text` is empty where there is nothing to say."""

    where: str  # clear | near-lower | at-lower | near-upper | at-upper
    text: str = ""


def flag_reading(value_v: float, supply_v: float | None, profile: Profile) -> Flag:
    """Flag one reading [V] against both rails, without its uncertainty.

    `supply_v` is None where it is not observed: nominal is taken. A ratiometric reading is scaled to nominal
    supply first. A reading that is not a number, or a supply of 0 V or less, gives clear with a text.
    """
    nominal = profile.supply.nominal_v
    seen = nominal if supply_v is None else supply_v
    if not (math.isfinite(value_v) and math.isfinite(seen)) or seen <= 0:
        return Flag("clear", "no reading to judge")
    scaled = profile.supply.ratiometric
    v, top = (value_v / seen * nominal, nominal) if scaled else (value_v, seen)
    limits = profile.limits
    for side, room, margin in (
        ("lower", v, limits.lower_rail.value),
        ("upper", top - v, limits.upper_rail.value),
    ):
        if room <= limits.at_rail.value:
            return Flag(f"at-{side}", "dead band, or an open or shorted wire")
        if room < margin:
            return Flag(f"near-{side}", f"{room:z.3f} V from {RAIL_NAMES[side]}, margin {margin:z.3f} V")
    return Flag("clear")


def rail_margins(
    *,
    quantities: dict[str, Quantity],
    analysis: Analysis,
    scale: Scale,
    profile: Profile,
    guard_factor: float,
) -> tuple[Margin, ...]:
    """Return the margins of the low end to the lower rail and of the high end to the upper rail, per track."""
    out = []
    for channel, suffix in ((0, ""), (1, "_b")):
        if f"low{suffix}_v" not in quantities:
            continue
        for end in ("low", "high"):
            q = quantities[f"{end}{suffix}_v"]
            out.append(
                _margin(
                    place_of(end, sense_of(analysis, channel)) + (" B" if suffix else ""),
                    end,
                    q,
                    scale.at_nominal(q),
                    scale=scale,
                    profile=profile,
                    guard_factor=guard_factor,
                )
            )
    return tuple(out)


def _margin(
    name: str,
    end: str,
    measured: Quantity,
    q: Quantity,
    *,
    scale: Scale,
    profile: Profile,
    guard_factor: float,
) -> Margin:
    lower = end == "low"
    limits = profile.limits
    if not lower:
        q = scale.with_supply_uncertainty(q)
    limit = limits.lower_rail.value if lower else scale.top_v - limits.upper_rail.value
    rail = "lower" if lower else "upper"
    if q.value is None or q.u95 is None:
        return Margin(
            name,
            rail,
            None,
            None,
            limit,
            Verdict.UNDECIDED,
            q.reason,
            next_step="Sweep again: hold the lever still at both stops, half a second each time.",
        )
    low, high = (limit, math.inf) if lower else (-math.inf, limit)
    verdict = decide(q.value, u95=q.u95, low=low, high=high, guard_factor=guard_factor)
    vague, why, step = False, "", ""
    if verdict is Verdict.UNDECIDED:
        why, step = would_decide(
            q.value, u95=q.u95, low=low, high=high, guard_factor=guard_factor, budget=q.budget,
            calibrated=scale.calibrated,
        )  # fmt: skip
    elif verdict is Verdict.PASS and (most := _widest(profile)) < 2 * q.u95:
        vague, verdict, step = True, Verdict.UNDECIDED, remedy(q.budget, calibrated=scale.calibrated)
        why = f"its interval of {2 * q.u95:.2g} V (± {q.u95:.2g} V) must be below {most:.2g} V for the level of an end"
    return Margin(name, rail, q.value, q.u95 or None, limit, verdict, why, measured.value, step, vague)


def _widest(profile: Profile) -> float:
    """Return the interval [V] beyond which a level is no level of an end."""
    return max(MOST_OF_SPAN * profile.limits.span.value, LEAST_WIDTH * profile.supply.nominal_v)


def margin_findings(
    margins: tuple[Margin, ...], found: tuple[Finding, ...], *, scale: Scale, profile: Profile
) -> list[Finding]:
    """Return findings of failed margins; at the rail it is a dead band, unless the analysis has said so already."""
    dead = {f.code for f in found} & {Code.DEAD_BAND_CLOSED, Code.DEAD_BAND_OPEN}
    out = []
    for m in margins:
        said = (Code.DEAD_BAND_CLOSED if _is_closed(m) else Code.DEAD_BAND_OPEN) in dead
        if m.verdict is Verdict.FAIL and m.level_v is not None and (m.end.endswith(" B") or not said):
            room = m.level_v if m.rail == "lower" else scale.top_v - m.level_v
            out.append(_margin_finding(m, room, profile))
    return out


def _is_closed(m: Margin) -> bool:
    """Closed end; where the sense is unknown the low end is taken as closed and the evidence says so."""
    return m.end.startswith(("closed", "low"))


CODES = {  # by whether it is at its rail and whether it is the closed end
    (True, True): Code.DEAD_BAND_CLOSED,
    (True, False): Code.DEAD_BAND_OPEN,
    (False, True): Code.MARGIN_CLOSED,
    (False, False): Code.MARGIN_OPEN,
}


def _margin_finding(m: Margin, room: float, profile: Profile) -> Finding:
    known, closed = m.end.startswith(("closed", "open")), _is_closed(m)
    at_rail = room <= profile.limits.at_rail.value
    code = CODES[at_rail, closed]
    what = "is at" if at_rail else "is too near"
    rail = RAIL_NAMES[m.rail]
    need = profile.limits.lower_rail if m.rail == "lower" else profile.limits.upper_rail
    scaled = (
        "" if m.measured_v in (None, m.level_v) else f" (at an exact {profile.supply.nominal_v:g} V supply)"
    )
    text = (
        f"the {m.end_text} {what} {rail}: {max(room, 0.0):z.3f} V away{scaled}, at least {need.value:z.3f} V "
        f"needed ({source_of(need.source)})"
    )
    if not known:
        text += "; sense unknown, the low end is taken as closed"
    unknown = profile.sensor.kind == "unknown"
    move = f"{TURN} (`sweeprig aim`)." if profile.sensor.slotted else f"{UNKNOWN if unknown else FIXED}."
    return Finding(
        code,
        Cause.MOUNTING,
        1 if m.end.endswith(" B") else 0,
        (0.0, 1.0) if closed else (99.0, 100.0),
        text,
        move,
        numbers={"room_v": room, "limit_v": need.value, "upper_rail": float(m.rail == "upper")},
    )
