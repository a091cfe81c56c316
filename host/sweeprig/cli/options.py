"""Options that several commands share, defined once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sweeprig.words import MOST_STROKES, TRACK_OHM, Hookup, Kind, Sense, Setting, Starts, System, TimeUnit

Port = Annotated[
    str,
    typer.Option("--port", help="Serial port (COM3, /dev/ttyACM0), or sim://SENSOR for a simulated rig."),
]
AsJson = Annotated[
    bool,
    typer.Option(
        "--json",
        help="Print the result as one JSON object, for another program. Questions and errors stay text, on standard"
        " error.",
    ),
]
ResultJson = Annotated[
    bool,
    typer.Option(
        "--json",
        help="Print the result as one JSON object, for another program; docs/reference/result.md explains its keys."
        " Questions and errors stay text, on standard error.",
    ),
]
ProfileName = Annotated[
    str | None,
    typer.Option(
        "--profile",
        help="Profile (the limits to judge by): a name from `sweeprig profile list`, or a file of your own.",
    ),
]
ReviewProfile = Annotated[
    str | None,
    typer.Option(
        "--profile",
        help="Profile (the limits to judge by): a name from `sweeprig profile list`, a file of your own, or"
        " as-captured: the one stored in the capture.",
    ),
]
Seconds = Annotated[float, typer.Option("--seconds", min=2.0, max=3600.0, help="Length of the capture [s].")]
SweepSeconds = Annotated[
    float | None,
    typer.Option(
        "--seconds",
        min=2.0,
        max=3600.0,
        help="Capture for exactly this time [s]; if not given, the strokes end the sweep.",
    ),
]
Strokes = Annotated[
    int | None,
    typer.Option(
        "--strokes",
        min=1,
        max=MOST_STROKES,
        help="Number of full strokes; a stroke is one way, from stop to stop. At least as many as the profile wants.",
    ),
]
Full = Annotated[bool, typer.Option("--full", help="Print every number first, then the short result.")]
HookupOption = Annotated[
    Hookup,
    typer.Option(
        "--hookup", help="powered: the rig powers the sensor; tapped: the vehicle's controller does."
    ),
]
StartsOption = Annotated[Starts | None, typer.Option("--starts", help="Lever position at the start.")]
SenseOption = Annotated[Sense | None, typer.Option("--sense", help="Which way the signal runs, if known.")]
SettingOption = Annotated[
    Setting | None,
    typer.Option(
        "--setting", help="Where the work is done; default: bench, or vehicle if --hookup is tapped."
    ),
]
SystemOption = Annotated[
    System | None,
    typer.Option(
        "--system",
        help="Supply of the vehicle, 12 or 24 V; if not given, it is taken from the battery voltage; you are asked"
        " if that does not settle it.",
    ),
]
KindOption = Annotated[
    Kind | None,
    typer.Option("--kind", help="Type of sensor, as its maker names it; default: that of the profile."),
]
Guard = Annotated[
    float | None,
    typer.Option(
        "--guard",
        min=0.0,
        max=3.0,
        help="How far inside a limit a value must be to pass, as a multiple of its own ±. 1: value and whole ± must be"
        " inside. 0: the value alone, its ± is ignored. More is stricter; default from the profile.",
    ),
]
TimeUnitOption = Annotated[
    TimeUnit | None,
    typer.Option("--time-unit", help="Unit of the time in a CSV; default: as its header says."),
]
TrackOhm = Annotated[
    float | None,
    typer.Option(
        "--track-ohm",
        min=TRACK_OHM[0],
        max=TRACK_OHM[1],
        help="Resistance of a potentiometer's track [ohm], measured between its supply and ground pins, plug off.",
    ),
]
Out = Annotated[Path | None, typer.Option("--out", help="Folder for captures and sheets.")]
Operator = Annotated[str, typer.Option("--operator", help="Who does the work; printed on the sheet.")]
Job = Annotated[str, typer.Option("--job", help="Job or order; printed on the sheet.")]
JobAsked = Annotated[
    str,
    typer.Option("--job", help="Job or order; safety questions already answered for it are not asked again."),
]
LeadOperator = Annotated[
    str, typer.Option("--operator", help="Who does the work; kept with a test of the lead.")
]
Label = Annotated[str, typer.Option("--label", help="Your label for the sensor; the files are named by it.")]
Part = Annotated[str, typer.Option("--part", help="Part number or description; printed on the sheet.")]
Serial = Annotated[str, typer.Option("--serial", help="Serial number of the sensor.")]
Customer = Annotated[str, typer.Option("--customer", help="Customer; printed on the sheet.")]
Vehicle = Annotated[str, typer.Option("--vehicle", help="Vehicle or machine; printed on the sheet.")]
Notes = Annotated[str, typer.Option("--notes", help="Anything else; printed on the sheet.")]
Budget = Annotated[
    bool, typer.Option("--budget", help="Also print what each ± is made of (uncertainty budget).")
]
MonteCarlo = Annotated[
    bool,
    typer.Option(
        "--monte-carlo",
        help="Check each ± a second way, by random draws (Monte Carlo, JCGM 101); for specialists.",
    ),
]
SheetKind = Annotated[str | None, typer.Option("--sheet", help="Write the sheet as html, pdf, both or none.")]
SheetFile = Annotated[Path | None, typer.Option("--sheet-file", help="Write the sheet (HTML) here.")]
OldSheetFile = Annotated[Path | None, typer.Option("--sheet", hidden=True)]  # its name before
RecordsPlace = Annotated[
    str,
    typer.Option(
        "--records",
        help="Where the records are, if not in the usual place: a folder, or the address of a database.",
    ),
]
