"""The command line: parse, call one function of bench, print. Of the commands, only the one asked for is loaded."""

from __future__ import annotations

import os
import sys
from functools import cache
from importlib import import_module
from typing import Annotated

import typer

from sweeprig import __version__
from sweeprig.cli.console import EXIT_OF_VERDICT, StoppedError, console
from sweeprig.cli.helping import WholeGroup
from sweeprig.cli.outlets import close_output, open_outlets
from sweeprig.errors import FileError, SweeprigError
from sweeprig.link.clean import clean_text

MODULES = {  # of cli/commands, in the order of the help, each with its commands
    "guide": ("guide",),
    "demo": ("demo",),
    "rig": ("rigs", "install"),
    "sweep": ("sweep", "review"),
    "check": ("check",),
    "watch": ("watch",),
    "aim": ("aim",),
    "wiggle": ("wiggle",),
    "gauge": ("gauge",),
    "motor": ("motor",),
    "send": ("send",),
    "collect": ("collect",),
    "pins": ("pins",),
    "calibrate": ("calibrate",),
    "records": ("records",),
    "compare": ("compare",),
    "page": ("page",),
    "recover": ("recover",),
    "sheet": ("sheet",),
    "profile": ("profile",),
    "config": ("config",),
}
RUNS_OTHERS = "guide"


REACHED = (None, *EXIT_OF_VERDICT.values())  # statuses of a command that did what it was asked


def _version(value: bool) -> None:
    if value:
        console.show(f"sweeprig {__version__}")
        raise typer.Exit


def main_options(
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Print results and errors only.")] = False,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Options of every command."""
    console.quiet = quiet


@cache
def command_line(only: str = "") -> typer.Typer:
    """Return the program: with all commands, or with those of the module `only`."""
    made = typer.Typer(
        name="sweeprig",
        cls=WholeGroup,
        help="Bench rig for analogue throttle and pedal position sensors: sweeps, margins, faults, a sheet.",
        no_args_is_help=True,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    made.callback()(main_options)
    for name in [only] if only else MODULES:
        import_module(f"sweeprig.cli.commands.{name}").add_to(made)
    return made


def module_for(args: list[str]) -> str:
    """Return the one module that a command line needs; "" where it takes all: for help, for the guide, a wrong word."""
    rest = [a for a in args if a not in ("--quiet", "-q")]
    found = next((m for m, commands in MODULES.items() if rest and rest[0] in commands), "")
    return "" if found == RUNS_OTHERS else found


def __getattr__(name: str) -> typer.Typer:
    if name == "app":
        return command_line()
    raise AttributeError(name)


def _quiet_first(args: list[str]) -> list[str]:
    """Let --quiet stand behind the command too."""
    quiet = [a for a in args if a in ("--quiet", "-q")]
    return quiet[:1] + [a for a in args if a not in ("--quiet", "-q")]


def _clean(args: list[str]) -> list[str]:
    """Replace what no file, database or terminal can hold in typed text; the name of a file stays as it is."""
    return [a if a.isascii() or os.path.lexists(a) else clean_text(a, len(a)) for a in args]


def run() -> None:
    """Run the command line; turn our errors into text and an exit status."""
    from sweeprig.bench.hookup.way_out import unwinding

    open_outlets()
    try:
        with unwinding():  # at a question too: the terminal gets its echo back
            _run()
    except SystemExit as end:
        raise SystemExit(_status(end.code)) from None


def _status(status: str | int | None) -> str | int | None:
    """Return the exit status, once all is printed: 4 where a result that was reached could not be printed."""
    lost = close_output()
    if lost is None or status not in REACHED:
        return status
    error = FileError(
        "The result could not be printed.",
        seen=lost.strerror or str(lost),
        next_step="look where the output goes; what was saved stays saved",
    )
    console.error(error)
    return error.exit_code


def _run() -> None:
    try:
        args = _clean(_quiet_first(sys.argv[1:]))
        command_line(module_for(args))(args=args)
    except SweeprigError as error:
        console.error(error)
        raise SystemExit(error.exit_code) from None
    except OSError as exc:  # nearer to what failed nobody had words for it
        unusable = FileError(
            "A file or folder cannot be used.",
            seen=": ".join(str(part) for part in (exc.filename, exc.strerror or exc) if part),
            next_step="look at its permissions and at the free space",
        )
        console.error(unusable)
        raise SystemExit(unusable.exit_code) from None
    except (KeyboardInterrupt, StoppedError) as stop:
        console.end_progress()
        console.warn(f"stopped; {stop}." if str(stop) else "stopped.")
        raise SystemExit(130) from None
