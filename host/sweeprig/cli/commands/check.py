"""`check`: the connection test, and the test of the lead itself."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.console import EXIT_OF_VERDICT, console, folded, strong
from sweeprig.cli.session import RigOptions, needs, with_options
from sweeprig.cli.views.screen import read_keys, single_keys
from sweeprig.words import Sense

HALF = 0.5  # signal over supply of a test plug with two equal resistors

if TYPE_CHECKING:
    from sweeprig.bench.connection.run import ConnectionTested
    from sweeprig.bench.readings.live import Levels
    from sweeprig.bench.session import Session

EXIT_OF_CHECK = {
    "connected": EXIT_OF_VERDICT["pass"],
    "fault": EXIT_OF_VERDICT["fail"],
    "undecided": EXIT_OF_VERDICT["undecided"],
}
WORDS = {
    "connected": "CONNECTED: the signal follows the lever.",
    "fault": "FAULT in the connection.",
    "undecided": "UNDECIDED: only one lever position was seen.",
}


KINDS = {"fault": "Fault", "doubt": "Not certain", "note": "Note"}


def headline(checked: ConnectionTested) -> str:
    """Return the verdict in words, with what kept the test from telling."""
    doubts = [f for c in checked.checks.values() for f in c.findings if f.severity == "doubt"]
    if checked.verdict == "undecided" and doubts:
        return "UNDECIDED: the signal is not analogue."
    return WORDS[checked.verdict]


def check_lines(checked: ConnectionTested) -> list[str]:
    """Return what the connection test says."""
    lines: list[str] = [strong(headline(checked))]
    for check in checked.checks.values():
        lines += [f"  {line}" for line in check.lines]
        for f in check.findings:
            lines += ["", folded(f"  {KINDS[f.severity]}: {f.what}", "    ")]
            parts = {"seen": f.evidence, "next": f.next_step, "could be": f.could_be}
            lines += [folded(f"    {name}: {text}", "          ") for name, text in parts.items() if text]
    if checked.n_dropouts:
        seen = f"  Note: {checked.n_dropouts} dropouts while the lever was moved."
        lines += [
            "",
            folded(
                f"{seen} sweeprig sweep shows where on the track they are; sweeprig wiggle finds a loose contact.",
                "    ",
            ),
        ]
    return [*lines, "", folded(f"  {checked.reach}", "    ")]


def _progress(seconds: float, seen: Levels) -> None:
    read_keys()  # of a rehearsal: they move the lever
    console.progress(f"  {seconds:4.1f} s  signal {seen.signal_v:z6.3f} V")


@dataclass(frozen=True)
class CheckOptions(RigOptions):
    """What `check` takes."""

    sense: opt.SenseOption = Sense.UNKNOWN
    operator: opt.LeadOperator = ""
    move: Annotated[
        float, typer.Option("--move", min=1.0, max=60.0, help="Longest time to move the lever to open [s].")
    ] = 10.0
    lead: Annotated[
        bool,
        typer.Option(
            "--lead",
            help="Test the rig's own lead, with the test plug on it (two resistors in place of a sensor).",
        ),
    ] = False
    lead_ratio: Annotated[
        float | None,
        typer.Option(
            "--lead-ratio",
            min=0.05,
            max=0.95,
            help="With --lead: signal over supply that the test plug gives; default: 0.5.",
        ),
    ] = None
    as_json: opt.AsJson = False


@with_options(CheckOptions)
def check(asked: CheckOptions) -> None:
    """Test the connection: leads open, shorted or swapped, signal not following the lever. Start at closed throttle."""
    needs("--lead-ratio", asked.lead_ratio is not None, "--lead", asked.lead)
    setup = asked.setup(sense=asked.sense, operator=asked.operator)
    with asked.session(setup, switch_on=False) as s:
        if asked.lead:
            _test_lead(s, HALF if asked.lead_ratio is None else asked.lead_ratio, as_json=asked.as_json)
        else:
            _test_connection(s, asked.move, as_json=asked.as_json)


def _test_connection(s: Session, move: float, *, as_json: bool) -> None:
    from sweeprig.bench.connection.model import check_json
    from sweeprig.bench.connection.run import run_check

    console.say("Lever at CLOSED throttle; leave it there until asked.")
    with single_keys():
        checked = run_check(s, move_s=move, progress=_progress)
    console.end_progress()
    if as_json:
        result = check_json(checked.checks, hookup=str(s.setup.hookup), reach=checked.reach)
        console.show_json({**result, "n_dropouts": checked.n_dropouts})
    else:
        for line in check_lines(checked):
            console.show(line)
    raise typer.Exit(EXIT_OF_CHECK[checked.verdict])


def _test_lead(s: Session, ratio: float, *, as_json: bool) -> None:
    from dataclasses import asdict

    from sweeprig.bench.connection.lead import run_lead_check

    console.say(
        "Put the test plug (two resistors) in place of the sensor. Hands off for the reading, then shake the lead."
    )
    done = run_lead_check(s, wanted_ratio=ratio, progress=_progress)
    console.end_progress()
    if not as_json:
        console.show(strong("LEAD PASSED" if done.passed else "LEAD FAILED"))
        console.show(f"  {done.line}")
    path: Path | None = None
    try:
        path = s.keep_lead_check(done)
    finally:  # what was measured is shown, kept or not
        if as_json:
            console.show_json({"schema_version": 1, **asdict(done), "file": path and str(path)})
    if not as_json:
        console.say(f"  The sheets of this rig carry this line from now on ({path}).")
    raise typer.Exit(EXIT_OF_VERDICT["pass" if done.passed else "fail"])


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command()(check)
