"""The check with a multimeter before and at first power: what must be read where, from the parts table."""

from __future__ import annotations

from dataclasses import dataclass

from hardware import clamps
from hardware.values import value_str
from sweeprig.frontend import front_end
from sweeprig.frontend.tables import parts, pins, table

METER = 0.01  # of the reading: added to each range for the meter and the leads
CLAMP_TAKES = 0.1  # of the input resistance: D1 lets some of the meter's current into the dead rail


@dataclass(frozen=True)
class Check:
    """One reading. `low` and `high` in `unit`; high None: at least `low`."""

    state: str
    where: str
    low: float
    high: float | None
    unit: str
    otherwise: str

    @property
    def range_str(self) -> str:
        """The range that is right."""
        if self.high is None:
            return f"{value_str(self.low, self.unit)} or more"
        if self.low == 0:
            return f"{value_str(self.high, self.unit)} or less"
        return f"{value_str(self.low, self.unit)} to {value_str(self.high, self.unit)}"


OFF = "not powered, no lead, USB off"
ON = "USB on, supply off, no sensor"
SUPPLY_ON = "supply on (command above), powered lead, no sensor"


def checks(build: str) -> list[Check]:
    """Return the checks of a build in the order in which they are made."""
    return [*_cold(build), *_rails(build), *_supply(build), *_reading(build)]


def _span(value: float, tol: float) -> tuple[float, float]:
    return value * (1 - tol - METER), value * (1 + tol + METER)


def _cold(build: str) -> list[Check]:
    end, p = front_end(build), parts(build)
    rows = [
        Check(OFF, "VBUS to GND", 1e3, None, "ohm", "a solder bridge or a capacitor the wrong way"),
        Check(OFF, "C3, with supply sense not joined to it", 1e6, None, "ohm", "D5 or C3"),
        Check(OFF, "gate of Q4 to GND", *_span(p["r_on_pull"].value, p["r_on_pull"].tol), "ohm", "R36"),
    ]
    resistance = Check(
        OFF,
        "each signal lead to GND, meter's plus on the lead",
        end.input_ohm * (1 - CLAMP_TAKES),
        end.input_ohm * (1 + end.resistor_tol + METER),
        "ohm",
        "R1, R2; D1 the wrong way round; a burden that is not released",
    )
    fuse = [Check(OFF, "contact 6 to GND", 0.0, 30.0, "ohm", "F2")] if end.buffered else []
    return [*rows, resistance, *fuse]


def _rails(build: str) -> list[Check]:
    rail = table()["rail"]
    low, held, _ = clamps.shunt_v()
    reference = rail["nominal_v"] * parts(build)["shunt"].value / held
    return [
        Check(ON, "VBUS", float(rail["usb_min_v"]), float(rail["usb_max_v"]), "V", "cable or port"),
        Check(ON, "3V3 OUT", rail["nominal_v"] * 0.97, low, "V", "U1, R20, R21: the shunt must not conduct"),
        Check(ON, "U1 reference pin", *_span(reference, 0.04), "V", "R20, R21"),
        Check(ON, "supply lead", 0.0, 0.2, "V", "Q4 or Q1 conducts: take the USB plug out"),
        Check(ON, "each signal lead, open", 0.0, 0.05, "V", "D1, bias or op-amp: something feeds the lead"),
        Check(ON, "GP3", 0.0, 0.1, "V", "Q3, R31"),
    ]


def _supply(build: str) -> list[Check]:
    end = front_end(build)
    low, high = end.supply_range_v(current_a=0.0)
    if end.supply_set_v is None:
        low, high = end.supply_v(current_a=0.0) - parts(build)["d_block"].value, 5.0
    return [
        Check(
            SUPPLY_ON,
            "supply lead, USB at 5.0 V",
            low,
            high,
            "V",
            "R30, Q1, D5 the wrong way round",
        ),
        Check(
            SUPPLY_ON,
            "current through the meter from supply lead to GND, 5 s at most",
            end.supply_limit_low_a * (1 - METER),
            end.supply_limit_high_a * (1 + METER),
            "A",
            "R30, Q2: above the range take the USB plug out",
        ),
        Check(SUPPLY_ON, "GP3 during that", 2.0, float(table()["rail"]["nominal_v"]), "V", "Q3, R32, R33"),
    ]


def _reading(build: str) -> list[Check]:
    end = front_end(build)
    ratio = end.divider_ratio
    low, high = ratio * (1 - end.divider_ratio_tol - METER), ratio * (1 + end.divider_ratio_tol + METER)
    where = "U2's outputs" if end.buffered else "GP26, GP27, GP28"
    text = f"{where}, 1.5 V cell on that lead: share of the cell's own voltage"
    wrong = "R1, R2, or D1 that leaks" + ("; of A: J1 not at LEAD" if end.buffered else "")
    return [Check(ON, text, low, high, "", wrong)]


def rows(build: str) -> list[tuple[str, ...]]:
    """Return the checks as rows of a table."""
    return [(str(i), c.state, c.where, _range(c), c.otherwise) for i, c in enumerate(checks(build), 1)]


def _range(check: Check) -> str:
    return check.range_str if check.unit else f"{check.low:.3f} to {check.high:.3f}"


def switch_command(*, on: bool) -> str:
    """Return the command that switches the sensor's supply by hand, without our firmware."""
    gpio = next(p.gpio for p in pins("plain") if p.name == "SUPPLY_ON")
    return f'mpremote exec "import machine; machine.Pin({gpio}, machine.Pin.OUT, value={int(on)})"'
