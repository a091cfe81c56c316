"""How far front end and reference drift between calibration and sweep, and the voltage drop of a lead.

All rectangular, JCGM 100, 4.3.7; figures in frontend/parts.toml.
"""

from __future__ import annotations

import math

from sweeprig.calibration.codes import rectangular
from sweeprig.calibration.model import BudgetLine, Calibration
from sweeprig.frontend import FrontEnd
from sweeprig.frontend.tables import table

UNKNOWN_KELVIN = 10.0  # [K] between calibration and sweep where one of the temperatures is not known: assumed
DIVIDER = "temperature of the divider"
LEAKAGE = "leakage of the clamps"
GROUND_LEAD = "drop in the ground lead"
AGEING = "ageing of the reference"


def kelvin_since(calibration: Calibration, temperature_c: float | None) -> float:
    """Return by how much board temperatures of calibration and sweep differ; 10 K where one is not known.

    Without a calibration it is the difference from the temperature at which the table's values hold.
    """
    at_calibration = _nominal_c() if calibration.kind == "nominal" else calibration.temperature_c
    if at_calibration is None or temperature_c is None:
        return UNKNOWN_KELVIN
    return abs(temperature_c - at_calibration)


def drift_lines(
    value_v: float, *, calibration: Calibration, front_end: FrontEnd, temperature_c: float | None
) -> tuple[BudgetLine, ...]:
    """Return the contributions to a reading at the sensor [V]; those that are 0 are left out.

    The divider's resistors drift by their worst, in opposite senses. Clamps leak towards the rail at a low node and to
    ground at a high one, from nothing to their worst: calibration takes off what they leak then. The ground lead has
    what the sensor draws. The reference ages in proportion to the volts.
    """
    kelvin, nominal = kelvin_since(calibration, temperature_c), calibration.kind == "nominal"
    reference = float(table()["adc"]["vref_age"])
    halves = (
        (DIVIDER, front_end.divider_tempco * kelvin * abs(value_v)),
        (LEAKAGE, _leakage_v(front_end, calibration, kelvin, temperature_c)),
        (GROUND_LEAD, front_end.ground_lead_v),
        (AGEING, 0.0 if nominal else reference * abs(value_v)),
    )
    return tuple(
        BudgetLine(name, "B", "rectangular", rectangular(half), "V", 1.0, math.inf)
        for name, half in halves
        if half > 0
    )


def _leakage_v(
    front_end: FrontEnd, calibration: Calibration, kelvin: float, temperature_c: float | None
) -> float:
    """Return what leakage changed since the calibration, all of it where there was none [V at the sensor]."""
    known = [t for t in (calibration.temperature_c, temperature_c) if t is not None]
    warm = max(known, default=_nominal_c()) if len(known) == 2 else _nominal_c() + kelvin
    if calibration.kind == "nominal":
        return front_end.leakage_at_sensor_v(temperature_c=_nominal_c() + kelvin)
    cold = front_end.leakage_at_sensor_v(temperature_c=warm - kelvin)
    return front_end.leakage_at_sensor_v(temperature_c=warm) - cold


def _nominal_c() -> float:
    return float(table()["temperature"]["calibration_c"])
