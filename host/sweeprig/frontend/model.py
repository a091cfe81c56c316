"""What one build of the rig is, electrically. Every number comes from parts.toml."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from sweeprig.errors import HookupError
from sweeprig.frontend import response
from sweeprig.frontend.supply import regulated
from sweeprig.frontend.tables import Part, check_build, parts, table

POWERED = "powered"


@dataclass(frozen=True)
class FrontEnd:
    """One build of the rig. The divider's ratio is the same with the burden on and off, in every hookup."""

    build: str  # plain | full | driven
    title: str
    hookups: tuple[str, ...]  # powered | tapped
    capabilities: tuple[str, ...]  # as in the board's hello
    buffered: bool
    has_monitor: bool
    r_top_ohm: float
    r_bottom_ohm: float
    divider_ratio: float  # volts at the divided node per volt at the sensor
    divider_ratio_tol: float  # relative half-width, worst case of the resistors' tolerance
    divider_tempco: float  # relative half-width of the ratio for each kelvin, worst case
    ground_lead_v: float  # [V] that the powered lead's ground drops at most
    resistor_tol: float  # relative half-width of R1 and R2
    c_f: float  # [F] at the divided node, strays included
    r_pin_ohm: float  # between divided node (or buffer) and pin
    c_pin_f: float  # [F] at the pin
    input_ohm: float  # seen by the sensor, burden off
    burden_ohm: float | None  # the resistor, from signal to sensor ground; None: not fitted
    burden_at_sensor_ohm: float  # all that the sensor sees with the burden on (without one: input_ohm)
    bias_ohm: float | None  # from the bias pins to the divided node
    supply_limit_a: float  # nominal current limit of the sensor supply
    supply_limit_low_a: float
    supply_limit_high_a: float
    supply_source_ohm: float  # resistance in series with the sensor supply below the limit
    supply_drop_v: float  # [V] lost in the switch apart from that
    supply_set_v: float | None  # [V] what a regulated supply holds at the socket; None: it follows USB
    supply_set_tol: float  # relative half-width of that, worst case of all parts and temperatures
    supply_worst_ohm: float  # as supply_source_ohm, highest
    adc_bits: int
    adc_vref_v: float
    adc_vref_tol: float
    clamp_leakage_a: float  # at 25 C, worst
    buffer_offset_v: float  # at the divided node, worst; 0 without buffer
    sample_f: float  # [F] that the converter charges at each conversion

    @property
    def full_scale_v(self) -> float:
        """Highest reading at the sensor [V]."""
        return self.adc_vref_v / self.divider_ratio

    @property
    def lsb_v(self) -> float:
        """One code at the sensor [V]."""
        return self.full_scale_v / (1 << self.adc_bits)

    @property
    def r_parallel_ohm(self) -> float:
        """R1 parallel R2: the resistance that drives the divided node."""
        return self.r_top_ohm * self.r_bottom_ohm / (self.r_top_ohm + self.r_bottom_ohm)

    def check_hookup(self, hookup: str) -> str:
        """Return the hookup's word, or raise HookupError where this build must not be used so."""
        if str(hookup) not in self.hookups:
            raise HookupError(
                f"The {self.build} build must not be used in this hookup.",
                seen=str(hookup),
                limit=", ".join(self.hookups),
                next_step="Use a full or driven build with its tap lead, or power the sensor from the rig.",
            )
        return str(hookup)

    def load_ohm(self, *, burden_on: bool) -> float:
        """Resistance from the signal to sensor ground that this rig puts on the sensor [ohm]."""
        return self.burden_at_sensor_ohm if burden_on else self.input_ohm

    def cable_f(self, hookup: str) -> float:
        """Capacitance of lead and harness that is assumed for this hookup [F]."""
        return float(table()["leads"][self.check_hookup(hookup)]["cable_f"])

    def path(self, hookup: str, cable_f: float | None = None) -> response.Path:
        """Return one channel from the wiper to the pin, with the cable [F] of the hookup or as told."""
        burden = str(hookup) == POWERED and self.burden_ohm is not None
        return response.Path(
            cable_f=self.cable_f(hookup) if cable_f is None else cable_f,
            load_ohm=self.burden_ohm if burden and self.burden_ohm else float("inf"),
            r_top_ohm=self.r_top_ohm,
            r_bottom_ohm=self.r_bottom_ohm,
            node_f=self.c_f,
            buffered=self.buffered,
            r_pin_ohm=self.r_pin_ohm,
            pin_f=self.c_pin_f,
        )

    def corner_hz(self, hookup: str = POWERED) -> float:
        """-3 dB corner from the sensor to the pin [Hz], sensor of low resistance."""
        return response.corner_hz(self.path(hookup, None))

    def settling_s(self, hookup: str = POWERED) -> float:
        """Time after a step of full scale until the pin is within half a code of its end [s]."""
        return response.settling_s(self.path(hookup), share=0.5 / (1 << self.adc_bits))

    def short_depth(self, seconds: float, hookup: str = POWERED) -> float:
        """Share of its depth that a short to ground of this length [s] reaches at the pin (0 to 1)."""
        return response.depth(self.path(hookup, None), seconds=seconds, kind="short")

    def open_depth(self, seconds: float, hookup: str = POWERED, *, cable_f: float | None = None) -> float:
        """Share of its depth that a lifted wiper of this length [s] reaches at the pin (0 to 1)."""
        return response.depth(self.path(hookup, cable_f), seconds=seconds, kind="open")

    def shortest_short_s(self, hookup: str = POWERED, *, level_v: float | None = None) -> float:
        """Shortest short to ground that is surely seen with at least claim.lsb codes [s].

        `level_v` is the signal at the sensor before it; parts.toml [claim] gives the default and the floor.
        """
        return self._shortest(hookup, "short", level_v, None)

    def shortest_open_s(
        self, hookup: str = POWERED, *, level_v: float | None = None, cable_f: float | None = None
    ) -> float:
        """Shortest lifted wiper that is surely seen with at least claim.lsb codes [s], by this rig alone.

        Tapped, the other controller's own input pulls as well, so the truth is at most this.
        """
        return self._shortest(hookup, "open", level_v, cable_f)

    def shortest_dropout_s(self, hookup: str = POWERED) -> float:
        """The longer of the two: what may be said on a sheet [s]."""
        return max(self.shortest_short_s(hookup), self.shortest_open_s(hookup))

    def _shortest(self, hookup: str, kind: str, level_v: float | None, cable_f: float | None) -> float:
        claim = table()["claim"]
        level = float(claim["level_v"]) if level_v is None else level_v
        seen = response.shortest_s(
            self.path(hookup, cable_f), kind=kind, share=claim["lsb"] * self.lsb_v / level
        )
        return max(seen, float(claim["floor_s"]))

    def loading_error(self, *, track_ohm: float, burden_on: bool = False) -> float:
        """Largest error from loading a potentiometer, per unit of the applied voltage.

        Vout/Vs = x / (1 + x(1 - x) R_track/R_load); the largest departure from x, found on a fine grid.
        Source: the loaded divider; 1.44933 % at R_load = 10 R_track.
        """
        k = track_ohm / self.load_ohm(burden_on=burden_on)
        return max(x - x / (1 + x * (1 - x) * k) for x in (i / 2000 for i in range(2001)))

    def leakage_at_sensor_v(self, *, temperature_c: float) -> float:
        """Worst shift of the reading from clamp leakage [V at the sensor]; doubles every 10 K."""
        t = table()["temperature"]
        doublings = (temperature_c - float(t["calibration_c"])) / float(t["leakage_doubles_k"])
        grown = self.clamp_leakage_a * math.pow(2.0, doublings)
        return grown * self.r_parallel_ohm / self.divider_ratio

    def memory_at_sensor_v(self, *, step_v: float, conversion_hz: float, channels: int) -> float:
        """Shift from the charge that the converter carries from the channel before [V at the sensor].

        Mean current f C dV through the resistance that drives the pin; `step_v` is the difference of the two
        channels at the pin [V].
        """
        r = self.r_pin_ohm if self.buffered else self.r_parallel_ohm + self.r_pin_ohm
        return conversion_hz / channels * self.sample_f * step_v * r / self.divider_ratio

    def supply_v(self, *, current_a: float, usb_v: float = 5.0) -> float:
        """Supply at the sensor below the current limit [V]; a regulated one follows neither current nor USB."""
        if self.supply_set_v is not None:
            return self.supply_set_v
        return usb_v - self.supply_drop_v - current_a * self.supply_source_ohm

    def supply_range_v(self, *, current_a: float) -> tuple[float, float]:
        """Lowest and highest supply at a current [V], over USB ports and the parts' tolerance."""
        if self.supply_set_v is not None:
            width = self.supply_set_v * self.supply_set_tol
            return self.supply_set_v - width, self.supply_set_v + width
        rail = table()["rail"]
        lost = self.supply_drop_v + current_a * self.supply_worst_ohm
        return float(rail["usb_min_v"]) - lost, float(rail["usb_max_v"])


def _input_side(p: dict[str, Part]) -> dict[str, float]:
    top, bottom, lead = p["r_top"], p["r_bottom"], table()["leads"][POWERED]
    ratio = bottom.value / (top.value + bottom.value)
    return {
        "r_top_ohm": top.value,
        "r_bottom_ohm": bottom.value,
        "divider_ratio": ratio,
        "divider_ratio_tol": 2 * top.tol * (1 - ratio),
        "divider_tempco": 2 * top.more["tempco"] * (1 - ratio),
        "ground_lead_v": lead["ground_ohm"] * lead["sensor_a"],
        "resistor_tol": top.tol,
        "input_ohm": top.value + bottom.value,
        "clamp_leakage_a": p["clamp"].more["leakage_a"],
    }


def _output_side(p: dict[str, Part], buffered: bool) -> dict[str, float]:
    t = table()
    stray = float(t["stray"]["node_f" if buffered else "node_plain_f"])
    r_pin = p["r_out"] if buffered else p["r_pin"]
    c_out = p["c_out"].value if buffered else 0.0
    return {
        "c_f": p["c_node"].value + stray,
        "r_pin_ohm": r_pin.value,
        "c_pin_f": c_out + float(t["adc"]["pad_f"]),
        "buffer_offset_v": p["buffer"].more["offset_v"] if buffered else 0.0,
    }


def _supply_side(p: dict[str, Part]) -> dict[str, float]:
    limit, sense = p["q_limit"], p["r_limit"]
    nominal = limit.value / sense.value
    fuse, held = p["fuse_usb"].more, regulated(p)
    free = held is None
    return {
        "supply_limit_a": nominal,
        "supply_limit_low_a": nominal * (1 - limit.tol) / (1 + sense.tol),
        "supply_limit_high_a": nominal * (1 + limit.tol) / (1 - sense.tol),
        "supply_source_ohm": sense.value + fuse["series_ohm"] if free else 0.0,
        "supply_worst_ohm": sense.value * (1 + sense.tol) + fuse["highest_ohm"] if free else 0.0,
        "supply_drop_v": p["d_block"].value if free else 0.0,
        "supply_set_tol": 0.0 if held is None else held.tol,
    }


def front_end_of(rig: Mapping[str, object]) -> FrontEnd:
    """Return the front end of a rig by its hello."""
    return front_end(str(rig.get("build", "plain")))


@lru_cache(maxsize=8)
def front_end(build: str) -> FrontEnd:
    """Return the front end of a build (plain, full or driven); InputError for another word."""
    t = table()
    b = t["builds"][check_build(build)]
    p = parts(build)
    inputs, burden, held = _input_side(p), p.get("burden"), regulated(p)
    load = inputs["input_ohm"]
    at_sensor = load if burden is None else load * burden.value / (load + burden.value)
    return FrontEnd(
        build=build,
        title=b["title"],
        hookups=tuple(b["hookups"]),
        capabilities=tuple(b["capabilities"]),
        buffered=b["buffered"],
        has_monitor=b["has_monitor"],
        burden_ohm=None if burden is None else burden.value,
        burden_at_sensor_ohm=at_sensor,
        bias_ohm=p["bias"].value if "bias" in p else None,
        adc_bits=int(t["adc"]["bits"]),
        adc_vref_v=float(t["adc"]["vref_v"]),
        adc_vref_tol=float(t["adc"]["vref_tol"]),
        sample_f=float(t["adc"]["sample_f"]),
        supply_set_v=None if held is None else held.set_v,
        **inputs,
        **_output_side(p, bool(b["buffered"])),
        **_supply_side(p),
    )
