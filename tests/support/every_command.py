"""Run by a test on a pseudo-terminal: every command of this list in one process, one after another."""

from __future__ import annotations

import sys
from contextlib import suppress

from sweeprig.cli.console import console
from sweeprig.cli.main import app
from sweeprig.errors import SweeprigError

SIM = ("--port", "sim://{}?pace=fast&vm=cpython&seed=3")


def _sim(sensor: str) -> list[str]:
    return [SIM[0], SIM[1].format(sensor)]


def commands(capture: str) -> list[list[str]]:
    """Every command with its help, and each as it answers, refuses or fails."""
    groups = {"records": ("list", "show", "history", "batch", "export", "add", "amend"),
              "calibrate": ("verify", "ramp", "show", "list"),
              "profile": ("list", "show", "new", "check"), "config": ("show", "set", "path")}  # fmt: skip
    single = ["guide", "demo", "rigs", "install", "sweep", "review", "check", "watch", "aim", "wiggle", "gauge",
              "motor", "pins", "compare", "recover", "sheet", "send", "collect"]  # fmt: skip
    helps = [["-h"], *([name, "-h"] for name in (*single, *groups))]
    helps += [[group, name, "-h"] for group, names in groups.items() for name in names]
    ohms = ["1-2=4.87k", "1-3=600/4.1k", "2-3=4.3k/800"]
    said = [
        ["review", capture], ["review", capture, "--profile", "hall", "--budget"], ["sheet", capture, "--text"],
        ["records", "add", capture], ["records", "list"], ["records", "show", "1"], ["records", "history", "shelf 3"],
        ["records", "amend", "1", "--notes", "a long note on what was seen when the lever was moved by hand"],
        ["compare", "1", capture], ["demo", "--sensor", "list"], ["profile", "list"], ["profile", "show", "hall"],
        ["config", "show"], ["calibrate", "list"], ["calibrate", "show"], ["pins", *ohms], ["rigs"],
        ["install", *_sim("good")], ["check", *_sim("open-signal")], ["aim", "--mount", "slotted", "--from", capture],
        ["aim", "--mount", "pedal"], ["sweep", "--port", "/dev/nothing-there"], ["sweep", *_sim("nonsense")],
        ["wiggle", "--seconds", "2", "--marks", "0:plug,9:bulkhead", *_sim("loose-connector")],
        ["motor", *_sim("good")], ["motor", "--port", f"{SIM[1].format('good')}&board=driven&motor=stuck"],
        ["review", "nothing.sweep"], ["recover"], ["records", "show", "99"],
        ["sweep", "--profile", "fixd", *_sim("good")],
        ["sweep", "--hookup", "tapped", "--drive", "combustion", "--confirm", "cautions,usb-first", *_sim("good")],
    ]  # fmt: skip
    return helps + said


def main() -> None:
    """Run them all; a line before each names it."""
    for arguments in commands(sys.argv[1]):
        print(f"\n@@@ {' '.join(arguments)}", flush=True)
        try:
            with suppress(SystemExit):
                app(args=arguments, prog_name="sweeprig")
        except SweeprigError as error:
            console.error(error)


if __name__ == "__main__":
    main()
