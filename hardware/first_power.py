"""The check with a multimeter before and at first power: what must be read where, by simulation of many right rigs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, floor, log10

from hardware import first_power_read as read
from hardware.first_power_rig import FloatArray, Rigs, right
from hardware.values import value_str
from sweeprig.frontend.tables import check_build, pins

DRAWN, SEED = 10_000, 1  # rigs that the limits are taken from; the tests draw others
MARGIN = 0.01  # beyond the lowest and highest of them
LEAST = 0.8  # of the lowest, where there is a lower limit only
FLOOR = {"V": 5e-3, "A": 1e-4, "ohm": 0.5, "": 2e-3}

OFF = "USB off, no lead"
ON = "USB on, outputs released, no sensor"
SUPPLY_ON = "supply on, powered lead, no sensor"
BURDEN = "burden on, supply off, powered lead, no sensor"
BIAS_UP, BIAS_DOWN = (f"bias {way}, burden and supply off, powered lead, no sensor" for way in ("up", "down"))
AGAIN = f"{ON}, for the lines after the bias"
Reading = Callable[[Rigs], FloatArray]


@dataclass(frozen=True)
class Check:
    """One reading. `low` and `high` in `unit`; high None: at least `low`; low 0: at most `high`."""

    state: str
    where: str
    low: float
    high: float | None
    unit: str
    otherwise: str
    reading: Reading

    @property
    def range_str(self) -> str:
        """The range that is right."""
        if self.high is None:
            return f"{value_str(self.low, self.unit)} or more"
        if not self.unit:
            return f"{self.low:.3f} to {self.high:.3f}"
        if self.low == 0:
            return f"{value_str(self.high, self.unit)} or less"
        return f"{value_str(self.low, self.unit)} to {value_str(self.high, self.unit)}"

    def passes(self, rigs: Rigs) -> FloatArray:
        """Return which of the rigs pass, (n,) of bool."""
        seen = self.reading(rigs)
        high = float("inf") if self.high is None else self.high
        return (seen >= self.low) & (seen <= high)


@dataclass(frozen=True)
class Place:
    """One place to look at: `kind` is "span", "least" or "most"."""

    state: str
    where: str
    unit: str
    otherwise: str
    reading: Reading
    kind: str = "span"


def _digits(value: float, up: bool) -> float:
    """Return a value with three digits, rounded outwards."""
    if value == 0:
        return 0.0
    scale = 10.0 ** (2 - floor(log10(abs(value))))
    return (ceil if up else floor)(value * scale) / scale


def _limited(place: Place, rigs: Rigs) -> Check:
    seen = place.reading(rigs)
    room = FLOOR[place.unit]
    low = _digits(float(seen.min()) * (1 - MARGIN) - room, up=False)
    high: float | None = _digits(float(seen.max()) * (1 + MARGIN) + room, up=True)
    if place.kind == "least":
        low, high = _digits(LEAST * float(seen.min()), up=False), None
    if place.kind == "most":
        low = 0.0
    return Check(place.state, place.where, max(low, 0.0), high, place.unit, place.otherwise, place.reading)


@lru_cache(maxsize=3)
def checks(build: str) -> tuple[Check, ...]:
    """Return the checks of a build in the order in which they are made; limits from DRAWN right rigs."""
    rigs = right(check_build(build), n=DRAWN, seed=SEED)
    return tuple(_limited(p, rigs) for p in places(build))


def places(build: str) -> list[Place]:
    """Return where is looked, in order."""
    more = build != "plain"
    return [
        *_cold(more),
        *_rails(more),
        *_leads(more),
        *_supply(more),
        *(_burden_and_bias() if more else ()),
        *(_slow() if more else ()),
    ]


def _diode(key: str, *, forward: bool = True) -> Reading:
    return lambda rigs: read.diode_range(rigs, key, forward=forward)


def _cold(more: bool) -> list[Place]:
    node, lead = "the junction of R1 and R2", "a bridge; C3; R63, R64" if more else "a bridge; C3"
    rows = [
        Place(OFF, "VBUS to GND", "ohm", "a solder bridge, F1, or a capacitor that is shorted", read.vbus_ohm, "least"),
        Place(OFF, "supply lead to GND, after ten seconds", "ohm", lead, read.lead_ohm, "least"),
        Place(OFF, "RUN to GND", "ohm", "R22, R23", read.run_ohm),
        Place(OFF, "diode range: plus on Q1's side of D5, minus on the supply lead", "V", "D5 the wrong way round",
              _diode("d_block")),
        Place(OFF, f"diode range, each channel: plus on {node}, minus on 3V3 OUT", "V", "D1 the wrong way round",
              _diode("clamp")),
        Place(OFF, "each signal lead to GND, plus on the lead", "ohm", "R1, R2: a bridge or a wrong value",
              read.dead_signal_ohm, "least"),
    ]  # fmt: skip
    rows.append(
        Place(OFF, "drain of Q4 to its source, plus on the drain", "ohm", "Q4", read.drain_ohm, "least")
    )
    if more:
        rows.append(Place(OFF, "contact 6 to GND", "ohm", "F2", read.tap_ground_ohm, "most"))
    return rows


def _rails(more: bool) -> list[Place]:
    rows = [
        Place(ON, "VBUS", "V", "cable or port", lambda r: r.v["usb"] * r.v["meter_gain"]),
        Place(
            ON, "3V3 OUT", "V", "U1 the wrong way round; R20, R21: the shunt must not conduct", read.rail_v
        ),
        Place(ON, "U1 reference pin", "V", "R20, R21", read.reference_pin_v),
        Place(ON, "RUN", "V", "R22, R23", read.run_v),
    ]
    if more:
        rows.append(Place(ON, "plus of C63", "V", "U5, R61, R62, D6: take the USB plug out", read.boost_v))
    return rows


def _leads(more: bool) -> list[Place]:
    where = "U2's outputs" if more else "GP26, GP27, GP28"
    left = "R1, R2, R63, R64" if more else "R1, R2"
    wrong = "R1, R2, or D1 that leaks" + ("; of A: J1 not at LEAD" if more else "")
    return [
        Place(ON, "supply lead, joined to supply sense", "V",
              f"Q4 or Q1 conducts: take the USB plug out; {left} left out", read.off_v, "most"),
        Place(ON, "gate of Q4 to GND", "ohm", "R36", read.gate_ohm),
        Place(ON, "GP3 to GND", "ohm", "R33", read.flag_ohm),
        Place(ON, "GP3", "V", "Q3, R31", read.no_flag_v, "most"),
        Place(ON, "each signal lead, open", "V", "D1 that leaks, R2, bias or op-amp: something feeds the lead",
              read.open_lead_v, "most"),
        Place(ON, "each signal lead to GND, plus on the lead", "ohm", "R1, R2; a burden that is not released",
              read.signal_ohm),
        Place(ON, f"{where}, 1.5 V cell on that lead: share of the cell's own voltage", "", wrong, read.share),
    ]  # fmt: skip


def _supply(more: bool) -> list[Place]:
    wrong = "R34, Q1, Q4"
    if more:
        fed = [
            Place(SUPPLY_ON, "cathode of U7", "V", "U7 the wrong way round, R66", read.reference_v),
            Place(SUPPLY_ON, "supply lead", "V", f"R63, R64, R67, U6, Q6, {wrong}", read.fed_v),
        ]
    else:
        fed = [Place(SUPPLY_ON, "VBUS less the supply lead", "V", wrong, read.below_usb_v)]
    return [
        *fed,
        Place(SUPPLY_ON, "current through the meter from supply lead to GND, 5 s at most", "A",
              "R30, Q2: above the range take the USB plug out", read.short_a),
        Place(SUPPLY_ON, "GP3 during that", "V", "Q3, R32, R33", read.flag_v),
    ]  # fmt: skip


def _burden_and_bias() -> list[Place]:
    return [
        Place(BURDEN, "signals A and B to GND", "ohm", "R5, Q5", read.burdened_ohm),
        Place(BIAS_UP, "U2's outputs of A and B, leads open", "V", "D3 of bias up, R7", read.bias_up_v),
        Place(BIAS_DOWN, "U2's outputs of A and B, 1.5 V cell on the lead: share of the cell's own voltage", "",
              "D3 of bias down, R7", read.bias_down_share),
    ]  # fmt: skip


def _slow() -> list[Place]:
    return [
        Place(ON, "U3 AIN2, ground sense on ground", "V", "R8, R9, D4", read.ground_sense_v),
        Place(ON, "U3 AIN3, 9 V battery on battery sense: share of its own voltage", "", "R10, R11, R13, D4, D8",
              read.battery_share),
    ]  # fmt: skip


def failed(build: str, rigs: Rigs) -> list[str | None]:
    """Return for each rig what the first check that it fails says to look at; None: it passes them all."""
    named: list[str | None] = [None] * rigs.n
    for check in checks(build):
        for i, ok in enumerate(check.passes(rigs)):
            if not ok and named[i] is None:
                named[i] = check.otherwise
    return named


def rows(build: str) -> list[tuple[str, ...]]:
    """Return the checks as rows of a table."""
    return [(str(i), c.state, c.where, c.range_str, c.otherwise) for i, c in enumerate(checks(build), 1)]


def switch_command(*, on: bool) -> str:
    """Return the command that switches the sensor's supply by hand, without our firmware."""
    return _command({_gpio("SUPPLY_ON"): on})


def release_command(build: str) -> str:
    """Return the command that releases every output: supply and burden off, bias released."""
    names = {"SUPPLY_ON": None, "SUPPLY_FAULT": None, "BURDEN_ON": False, "BIAS_UP": False, "BIAS_DOWN": True}
    known = {p.name for p in pins(build)}
    return _command({_gpio(n): level for n, level in names.items() if n in known})


def state_commands() -> list[tuple[str, str]]:
    """Return (state, command) of the states that only full and driven builds have. Each sets every output anew."""
    return [
        (BURDEN, _outputs(burden=True, up=False, down=True)),
        (BIAS_UP, _outputs(burden=False, up=True, down=True)),
        (BIAS_DOWN, _outputs(burden=False, up=False, down=False)),
        (AGAIN, release_command("full")),
    ]


def _outputs(*, burden: bool, up: bool, down: bool) -> str:
    levels = {"SUPPLY_ON": False, "BURDEN_ON": burden, "BIAS_UP": up, "BIAS_DOWN": down}
    return _command({_gpio(name): level for name, level in levels.items()})


def _gpio(name: str) -> int:
    return next(p.gpio for p in pins("driven") if p.name == name)


def _command(levels: dict[int, bool | None]) -> str:
    """Return the command line; a level of None makes the pin an input."""
    calls = [
        f"Pin({gpio}, Pin.IN)" if on is None else f"Pin({gpio}, Pin.OUT, value={int(on)})"
        for gpio, on in levels.items()
    ]
    return f'mpremote exec "from machine import Pin; {"; ".join(calls)}"'
