"""Options of `calibrate` and its commands, defined once."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class Reference(StrEnum):
    """What tells the true voltage."""

    METER = "meter"
    MONITOR = "monitor"


class RampSource(StrEnum):
    """Where the ramp comes from."""

    AUTO = "auto"
    RIG = "rig"
    LEADS = "leads"


Points = Annotated[int, typer.Option("--points", min=2, max=64, help="How many voltages you set.")]
PointsFile = Annotated[
    Path | None,
    typer.Option(
        "--points-file", help="Take the points from this CSV; the rig is asked for its serial number only."
    ),
]
MeterText = Annotated[
    str,
    typer.Option(
        "--meter",
        help="Accuracy of your meter from its data sheet: per cent of reading + counts, for example 0.05%+3.",
    ),
]
Count = Annotated[
    float, typer.Option("--count", min=1e-7, max=0.1, help="One step of the meter's last digit [V].")
]
Range = Annotated[
    float, typer.Option("--range", min=0.1, max=1000.0, help="Range that the meter is set to [V].")
]
MeterName = Annotated[str, typer.Option("--meter-name", help="Make and model of the meter.")]
MeterSerial = Annotated[str, typer.Option("--meter-serial", help="Serial number of the meter.")]
Operator = Annotated[str, typer.Option("--operator", help="Who does the work; kept with the calibration.")]
Notes = Annotated[str, typer.Option("--notes", help="Anything else; kept with the calibration.")]
Certificate = Annotated[str, typer.Option("--certificate", help="Calibration certificate of the meter.")]
ReferenceOption = Annotated[
    Reference,
    typer.Option(
        "--reference",
        help="meter: you type what your meter reads; monitor: the rig's second, slow and precise converter reads.",
    ),
]
Temperature = Annotated[
    float | None,
    typer.Option(
        "--temperature",
        min=-40.0,
        max=125.0,
        help="Temperature of the rig [°C], if the rig has no thermometer.",
    ),
]
MaxAge = Annotated[
    float,
    typer.Option("--max-age", min=1, max=3650, help="Days after which the calibration counts as old."),
]
Volts = Annotated[
    float, typer.Argument(min=0.0, max=100.0, help="The known voltage that is now on the leads [V].")
]
StandardU = Annotated[
    float | None,
    typer.Option("--standard-u", min=0.0, max=100.0, help="± of that voltage [V], or give --meter."),
]
Standard = Annotated[
    str, typer.Option("--standard", help="What makes the known voltage; kept with the result.")
]
AsLeft = Annotated[
    bool, typer.Option("--as-left", help="This check comes after an adjustment or a repair of the rig.")
]
RampSeconds = Annotated[
    float,
    typer.Option(
        "--seconds",
        min=1.0,
        max=3600.0,
        help="How long to measure [s]; longer gives a better result.",
    ),
]
RampFrom = Annotated[
    RampSource,
    typer.Option(
        "--source",
        help="rig: its own ramp, jumper J1 of the rig at RAMP; leads: a signal generator on the lead of signal A;"
        " auto: rig if it can.",
    ),
]
Linearity = Annotated[
    float,
    typer.Option(
        "--linearity",
        min=0.0,
        max=5.0,
        help="How straight the ramp is: its linearity, ± per cent of its range.",
    ),
]
Rig = Annotated[str, typer.Argument(help="Serial number of the rig; default: the only one stored.")]
