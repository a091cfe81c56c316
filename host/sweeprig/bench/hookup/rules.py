"""Rules before a sensor is powered or tapped: what this rig may do, what is measured first, what is refused.

Powered: plug off the harness, no voltage on the leads before the rig's own, the first power limited and measured.
Tapped: nothing is put on the leads, and the rig must be built so that it cannot; its load is computed first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sweepboard import wire
from sweeprig.bench.hookup.way_off import SHUT_DOWN
from sweeprig.bench.readings.limits import least_supply_v, limit
from sweeprig.bench.readings.live import Levels
from sweeprig.calibration.slow import NOT_CONNECTED_V
from sweeprig.capture.model import SweepSetup
from sweeprig.errors import HookupError
from sweeprig.frontend import FrontEnd
from sweeprig.judge.profile import Profile
from sweeprig.words import Hookup, above_range

GUARANTEE = "guaranteed-tap"
FED_IN = {
    wire.FLAG_SUPPLY_ON: "the supply is on",
    wire.FLAG_BURDEN_ON: "the burden is on",
    wire.FLAG_BIAS_ON: "the bias is on",
}


@dataclass(frozen=True)
class Loading:
    """How much the rig's own load shifts the reading of a potentiometer."""

    percent: float  # of the applied voltage, at the worst place of the track
    track_ohm: float
    measured: bool  # the track was measured; else the profile's largest
    limit_percent: float

    @property
    def fits(self) -> bool:
        """Whether the shift is within the profile's limit."""
        return self.percent <= self.limit_percent

    @property
    def line(self) -> str:
        """The shift and its limit in one line."""
        whose = "measured track" if self.measured else "largest track of the profile"
        return (
            f"The rig's load shifts the reading by at most {self.percent:.2f} % of supply"
            f" ({whose}, {self.track_ohm:.0f} ohm; limit {self.limit_percent:.2f} %)."
        )

    @property
    def powered_line(self) -> str:
        """The line where the rig powers the sensor: a load beyond the limit is a remark there, not a refusal."""
        if self.fits:
            return self.line
        if self.measured:
            return (
                f"The rig's load shifts the reading of this track ({self.track_ohm:.0f} ohm) by up to"
                f" {self.percent:.2f} % of supply; the values without load are calculated from it."
            )
        return (
            "Track resistance not given. The rig draws a little current from the signal; on a track of"
            f" {self.track_ohm / 1e3:g} kilohm (the highest that the program expects) that shifts the reading by up to"
            f" {self.percent:.2f} % of supply. The ± includes this. For a smaller ±: measure the track between the"
            " sensor's supply and ground pins, plug off, and add `--track-ohm`."
        )


def check_hello(rig: Mapping[str, Any], end: FrontEnd, hookup: str) -> None:
    """Raise HookupError where this build, or the rig's own hello, does not allow the hookup."""
    end.check_hookup(str(hookup))
    offered = tuple(rig.get("hookups", ()))
    if str(hookup) not in offered:
        raise HookupError(
            f"The rig does not offer the hookup {hookup}.",
            seen=", ".join(offered) or "none",
            limit=f"{hookup} in the rig's identification",
            next_step="use a rig that offers it; sweeprig rigs shows what is attached",
        )
    if str(hookup) == Hookup.TAPPED and GUARANTEE not in rig.get("capabilities", ()):
        raise HookupError(
            "The rig cannot guarantee that it puts nothing on a tapped lead.",
            seen=f"{rig.get('build', 'unknown')} build without {GUARANTEE}",
            limit=f"{GUARANTEE} in the rig's identification",
            next_step="tap with a full or driven build and its tap lead, or power the sensor from the rig",
        )


def loading(end: FrontEnd, *, hookup: str, profile: Profile, track_ohm: float | None) -> Loading:
    """Return the worst shift by the rig's load: of the measured track, else of the profile's largest.

    Vout/Vs = x / (1 + x(1 - x) R_track/R_load). The burden counts where the rig powers the sensor.
    """
    known = profile.sensor.track_ohm
    track = track_ohm if track_ohm is not None else known.high if known is not None else 0.0
    burden = str(hookup) == Hookup.POWERED and end.burden_ohm is not None
    share = end.loading_error(track_ohm=track, burden_on=burden) if track else 0.0
    return Loading(100 * share, track, track_ohm is not None, profile.limits.loading.value)


AT_MOST = 0.995  # of the full scale from which a reading only says that it is no less; own choice, no source


def check_tap_load(load: Loading) -> str:
    """Return the line on the load of a tap, or raise HookupError where it is beyond the profile's limit."""
    if load.fits:
        return load.line
    raise HookupError(
        "The rig's load on the tapped circuit exceeds the profile's limit.",
        seen=f"{load.percent:.2f} % of supply at a track of {load.track_ohm:.0f} ohm",
        limit=f"at most {load.limit_percent:.2f} %",
        next_step="tap with a full or driven build, or measure the track with the plug off and add --track-ohm",
    )


def voltage_there(seen: Levels) -> str:
    """Return in words which voltage is on the leads before the rig has switched anything on; "" where there is none."""
    stray = limit("before_power.stray_v")
    names = (("supply", seen.supply_v), ("signal", seen.signal_v), ("signal B", seen.signal_b_v))
    return ", ".join(
        f"{name} {_up_to(v, seen.most_v)}" for name, v in names if v is not None and abs(v) > stray
    )


def _up_to(v: float, most_v: float) -> str:
    """Return a reading in words; at the end of the converter's range: "or more"."""
    return f"{v:z.2f} V" if v < AT_MOST * most_v else above_range(most_v)


def check_dead(seen: Levels) -> str:
    """Return the line on leads without voltage, or raise HookupError where there is some."""
    there = voltage_there(seen)
    if not there:
        supply = "not measured" if seen.supply_v is None else f"{seen.supply_v:z.2f} V"
        return f"Sensor supply still off: supply {supply}, signal {seen.signal_v:z.2f} V. Nothing from outside: good."
    raise HookupError(
        "The sensor's leads carry voltage while the rig's supply is off.",
        seen=there,
        limit=f"below {limit('before_power.stray_v'):z.1f} V before the rig switches on",
        next_step=f"{SHUT_DOWN}, then take the sensor's plug OFF the harness; if another controller is to power it:"
        " --hookup tapped",
    )


def check_power(seen: Levels, *, end: FrontEnd, where: str = "this lever position") -> str:
    """Return the line on the first power, or raise HookupError for a short or an overload (switch off first!)."""
    supply = seen.supply_v
    shown = "not measured" if supply is None else f"{supply:z.2f} V"
    shown += "" if seen.current_a is None else f", {1000 * seen.current_a:.1f} mA"
    if seen.overloaded:
        raise _cut(seen, shown, where)
    least = least_supply_v(end)
    low = supply is not None and supply < least
    remark = f" LOW: below {least:z.2f} V, not limiting; try another port." if low else ""
    return f"Supply at {where}: {shown}, no overload.{remark}"


def _cut(seen: Levels, shown: str, where: str) -> HookupError:
    short = seen.supply_v is None or seen.supply_v < limit("first_power.short_v")
    return HookupError(
        f"The sensor's supply is switched off: {'short' if short else 'overload'} at {where}.",
        seen=f"supply {shown}{', the limiter acts' if seen.fault else ''}",
        limit="supply current well below the rig's limit of about 50 mA",
        next_step="look for supply against ground in plug and lead, or a supply on a wrong pin: sweeprig pins",
    )


HALL_A = 0.010  # what a Hall part takes: common practice, no source


def feed_line(end: FrontEnd, profile: Profile) -> str:
    """Return a line on the supply that an unregulated build can give this kind of sensor; "" for a regulated build."""
    if end.supply_set_v is not None:
        return ""
    track = profile.sensor.track_ohm
    amps = HALL_A if track is None else profile.supply.nominal_v / track.low
    given, least = end.supply_v(current_a=amps), end.supply_range_v(current_a=amps)[0]
    line = (
        f"The {end.build} build gives the sensor the USB voltage: about {given:z.1f} V at {1000 * amps:.0f} mA,"
        f" {least:z.1f} V from a weak port."
    )
    asked = profile.limits.supply_powered.low
    if profile.sensor.kind != "hall" or least >= asked:
        return line
    return (
        f"WARNING: {line} This profile's sensors need {asked:z.1f} V or more: below that, a bad end may come"
        " from the supply. A full build gives 5.00 V."
    )


def setup_remarks(setup: SweepSetup) -> tuple[str, ...]:
    """Return remarks on how the capture was made that a reader of the result must know."""
    out = [line for line in setup.prepared if "WARNING" in line or " LOW: " in line or "NOT measured" in line]
    if "FAILED" in setup.lead_checked:
        out.append(f"The rig's lead failed its last test: {setup.lead_checked}")
    return tuple(out)


def check_released(seen: Levels) -> str:
    """Return the line on a tap that adds nothing, or raise HookupError where a flag says otherwise."""
    fed = [text for flag, text in FED_IN.items() if seen.flags_any & flag]
    if not fed:
        return "Tapped: supply off, burden and bias released, confirmed by the rig's records."
    raise HookupError(
        "The rig does not release the tapped leads.",
        seen=", ".join(fed),
        limit="supply off, burden and bias released",
        next_step=f"{SHUT_DOWN}, tap off; then install the firmware again: sweeprig install",
    )


def tapped_lines(seen: Levels) -> tuple[str, ...]:
    """Return lines on the supply and the ground that a tap measures."""
    out = []
    if seen.supply_v is None or seen.supply_v < limit("first_power.short_v"):
        out.append(
            "Supply not measured: no sense lead. So there is no ratio, and no finding about the supply."
        )
    else:
        out.append(f"Supply observed: {seen.supply_v:z.3f} V.")
        moved = 100 * (seen.supply_peak_v or 0.0) / seen.supply_v
        if moved > limit("vehicle.supply_moves_percent"):
            out.append(
                f"WARNING: the supply varies by {moved:.1f} % with the lever still: engine running, or a bad joint."
            )
    if seen.ground_v is None or abs(seen.ground_v) > NOT_CONNECTED_V:
        out.append("Ground not measured: no sense lead on the sensor's ground.")
    else:
        out.append(f"Ground offset {1000 * seen.ground_v:+z.0f} mV from the rig's ground.")
    return tuple(out)
