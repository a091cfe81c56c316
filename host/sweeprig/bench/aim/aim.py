"""Turning an adjustable sensor on its mount: where to, how far, and whether any position will do.

Turning moves both ends by the same angle, so by the same volts where the track is straight: both ends shift
together. A target for the closed end is therefore also a promise about the open end, which is worked out before
anything is touched.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from sweeprig.bench.readings.limits import limit
from sweeprig.errors import InputError, SafetyError
from sweeprig.judge.profile import Profile
from sweeprig.words import Sense


class Mount(StrEnum):
    """What the sensor sits on, as the operator says."""

    SLOTTED = "slotted"
    FIXED = "fixed"
    ELECTRONIC = "electronic-throttle"
    PEDAL = "pedal"
    STOP_SCREW = "stop-screw"


_WHY_NOT = {
    Mount.FIXED: "a fixed sensor cannot be turned",
    Mount.ELECTRONIC: "the maker sets an electronic throttle's sensors, and its controller compares them",
    Mount.PEDAL: "the maker sets a pedal's sensors, and its controller compares them",
    Mount.STOP_SCREW: "the stop screw sets the throttle's base position, never the sensor's reading",
}
BASE_STOP = "Closed means the base stop, not fast idle: cold-start and idle-up devices must be released."
CAUTIONS = (
    BASE_STOP,
    "Turning the sensor affects every controller that reads it: the vehicle's own specification comes before"
    " the usual 0.4 to 0.5 V.",
    "Loosen the screws only as far as needed, turn, tighten, and read again: tightening moves the sensor.",
)
SLOTS_ASKED = (
    "Do the sensor's screws sit in slots, made so that it can be turned on its mount? Electronic throttles, pedals and"
    " stop screws: n."
)
SLOTTED_PROFILE = "adjustable-potentiometer"  # where none is named: the shipped one with a target
MARGINAL_V = 1e-9
FITS = "Both ends are within limits after the move."
FITS_NOW = "Both ends are within limits as they are."


def check_mount(mount: str, profile: Profile, *, target_v: float | None = None) -> None:
    """Raise where this mount cannot be adjusted: InputError where it is not given, SafetyError where it is refused."""
    if mount not in tuple(Mount):
        raise InputError(
            "The sensor's mount is not known.",
            seen=mount or "not given",
            limit=", ".join(Mount),
            next_step="if its screws sit in slots, add --mount slotted",
        )
    if mount != Mount.SLOTTED:
        raise SafetyError(
            f"This mount cannot be adjusted: {_WHY_NOT[Mount(mount)]}.",
            seen=mount,
            limit="a sensor on a slotted mount, made to be turned",
            next_step="look at lever, stop and part instead; sweeprig sweep judges both ends",
        )
    if profile.aim is None and target_v is None:
        raise InputError(
            f"The profile {profile.name} has no target for the closed end.",
            seen=f"slotted = {str(profile.sensor.slotted).lower()} and no [aim]",
            limit="a profile with [aim], such as adjustable-potentiometer",
            next_step="choose it with --profile, or add --target VOLTS",
        )


def check_target(target_v: float, profile: Profile) -> None:
    """Raise InputError where a typed target [V] cannot be a closed end between the margins of the profile."""
    nominal = profile.supply.nominal_v
    low, high = profile.limits.lower_rail.value, nominal - profile.limits.upper_rail.value
    if not low <= target_v <= high:  # nan is in no range
        raise InputError(
            "The target for the closed end is out of range.",
            seen=f"--target {target_v:g}",
            limit=f"{low:g} to {high:g} V: between the margins of {profile.name} at a supply of {nominal:g} V",
            next_step="give volts at closed throttle by the vehicle's specification, for example --target 0.45",
        )


TWO_ANGLES = "--angle 0=0.31 --angle 5=0.58"  # as an operator types them


def check_steepness(volts_per_degree: float, *, seen: str = "") -> None:
    """Raise InputError where a steepness [V per degree] is none, or that of no such sensor."""
    low, high = limit("aim.least_v_per_deg"), limit("aim.most_v_per_deg")
    if not low <= volts_per_degree <= high:
        raise InputError(
            "The volts per degree are out of range.",
            seen=seen or f"--volts-per-degree {volts_per_degree:g}",
            limit=f"{low:g} to {high:g} V per degree, without a sign",
            next_step=f"leave it out, or measure it by two angles: {TWO_ANGLES}",
        )


@dataclass(frozen=True)
class Ends:
    """Where the ends stand now, in volts at the sensor, each with the half-width of its 95 % interval."""

    closed_v: float
    open_v: float
    supply_v: float
    closed_u95_v: float = 0.0
    open_u95_v: float = 0.0

    @property
    def sense(self) -> Sense:
        """Which way the signal runs."""
        return Sense.RISING if self.open_v > self.closed_v else Sense.FALLING


@dataclass(frozen=True)
class Window:
    """Where the closed end may stand, in volts at this supply, and the target inside."""

    low_v: float
    target_v: float
    high_v: float


@dataclass(frozen=True)
class Plan:
    """What turning would do, worked out before anything is touched."""

    possible: bool
    reason: str
    window: Window  # for the closed end
    move_v: float  # from now to the target: positive is up
    predicted_closed_v: float
    predicted_open_v: float
    predicted_lower_margin_v: float  # [V] of the lower of both ends from ground
    predicted_upper_margin_v: float  # [V] of the higher of both ends from the supply
    lower_limit_v: float
    upper_limit_v: float
    open_range_v: tuple[float, float] | None  # that the profile asks of the open end, at this supply
    nominal_v: float = 5.0  # [V] supply for which the profile's limits are stated
    scale: float = 1.0  # of the limits here to those of the profile
    degrees: float | None = None  # positive: the way that raises the signal
    remarks: tuple[str, ...] = ()
    fits_now: bool = False  # both ends fit where they are


def _scale(profile: Profile, supply_v: float) -> float:
    return supply_v / profile.supply.nominal_v if profile.supply.ratiometric else 1.0


def window_for(profile: Profile, *, sense: Sense, supply_v: float, target_v: float | None = None) -> Window:
    """Return the window for the closed end at this supply; for a falling signal mirrored about the supply.

    `target_v` typed by the operator is volts as read and replaces the profile's.
    """
    assert profile.aim is not None or target_v is not None
    scale = _scale(profile, supply_v)
    half = profile.aim.tolerance.value * scale if profile.aim is not None else 0.02 * scale
    if target_v is not None:
        return Window(target_v - half, target_v, target_v + half)
    assert profile.aim is not None
    middle = profile.aim.closed.value * scale
    if sense is Sense.FALLING:
        middle = supply_v - middle
    return Window(middle - half, middle, middle + half)


def plan(
    ends: Ends,
    profile: Profile,
    *,
    target_v: float | None = None,
    volts_per_degree: float | None = None,
) -> Plan:
    """Return what turning the sensor would do to both ends.

    A position will do when the closed end is inside its window and both ends keep the profile's margins to the
    rails and, where the profile has one, the open end its range; all with the uncertainty of the ends counted.
    Where the target itself breaks a limit but another place inside the window does not, that place is taken.
    """
    scale = _scale(profile, ends.supply_v)
    window = window_for(profile, sense=ends.sense, supply_v=ends.supply_v, target_v=target_v)
    lower, upper = profile.limits.lower_rail.value * scale, profile.limits.upper_rail.value * scale
    wanted = _open_range(profile, ends, scale)
    least, most = _moves(ends, lower, upper, wanted)
    low, high = window.low_v - ends.closed_v, window.high_v - ends.closed_v
    move, possible = window.target_v - ends.closed_v, True
    fits_now = max(least, low) <= 0.0 <= min(most, high)
    if least > most + MARGINAL_V or max(least, low) > min(most, high) + MARGINAL_V:
        possible = False
    else:
        move = min(max(move, least, low), most, high)
    closed, opened = ends.closed_v + move, ends.open_v + move
    return Plan(
        possible=possible,
        reason=_fits(fits_now) if possible else _why_not(ends, window, (least, most), wanted, (lower, upper)),
        window=window,
        move_v=move,
        predicted_closed_v=closed,
        predicted_open_v=opened,
        predicted_lower_margin_v=min(closed, opened),
        predicted_upper_margin_v=ends.supply_v - max(closed, opened),
        lower_limit_v=lower,
        upper_limit_v=upper,
        open_range_v=wanted,
        nominal_v=profile.supply.nominal_v,
        scale=scale,
        degrees=None if volts_per_degree is None else move / volts_per_degree,
        remarks=_remarks(move, window, ends, possible),
        fits_now=fits_now,
    )


def _open_range(profile: Profile, ends: Ends, scale: float) -> tuple[float, float] | None:
    found = profile.limits.open
    if found is None:
        return None
    low, high = found.low * scale, found.high * scale
    return (low, high) if ends.sense is Sense.RISING else (ends.supply_v - high, ends.supply_v - low)


def _moves(ends: Ends, lower: float, upper: float, wanted: tuple[float, float] | None) -> tuple[float, float]:
    """Least and most move [V] that keeps both ends off the rails, and the open end in its range."""
    both = sorted(((ends.closed_v, ends.closed_u95_v), (ends.open_v, ends.open_u95_v)))
    (bottom, bottom_u), (top, top_u) = both
    least = lower + bottom_u - bottom
    most = ends.supply_v - upper - top_u - top
    if wanted is not None:
        least = max(least, wanted[0] + ends.open_u95_v - ends.open_v)
        most = min(most, wanted[1] - ends.open_u95_v - ends.open_v)
    return least, most


def _fits(now: bool) -> str:
    return FITS_NOW if now else FITS


def _why_not(
    ends: Ends,
    window: Window,
    moves: tuple[float, float],
    wanted: tuple[float, float] | None,
    limits: tuple[float, float],
) -> str:
    least, most = moves
    span = abs(ends.open_v - ends.closed_v)
    room = ends.supply_v - sum(limits) - ends.closed_u95_v - ends.open_u95_v
    if span > room:
        return (
            f"No position is within limits: the ends are {span:z.3f} V apart, and only {room:z.3f} V fit between"
            " the margins to the rails. The part, its lever or the travel is not right for this profile."
        )
    opened = window.target_v - ends.closed_v + ends.open_v
    asked = "" if wanted is None else f", the profile asks for {wanted[0]:.2f} to {wanted[1]:z.2f} V there"
    close = ends.closed_v + (least if window.target_v - ends.closed_v < least else most)
    return (
        f"No position is within limits: with closed at {window.target_v:z.3f} V the open end would be at {opened:z.3f}"
        f" V{asked}. For an open end in range, closed must be near {close:z.3f} V, outside"
        f" {window.low_v:.3f} to {window.high_v:z.3f} V."
    )


def _remarks(move: float, window: Window, ends: Ends, possible: bool) -> tuple[str, ...]:
    out = []
    if possible and abs(ends.closed_v + move - window.target_v) > 1e-6:
        out.append("Not the middle of the target: there the other end would be out of its limits.")
    pinned = min(ends.closed_v, ends.open_v) < 0.05 or ends.supply_v - max(ends.closed_v, ends.open_v) < 0.05
    if pinned:
        out.append(
            "One end is at ground or at the supply: part of the travel is hidden there, so the true span is larger than"
            " measured. Turn towards the target, sweep again, and plan again."
        )
    return tuple(out)
