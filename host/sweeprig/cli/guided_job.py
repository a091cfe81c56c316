"""The job that `guide` leads through: its answers so far, the commands that were run, and the files kept."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from sweeprig.cli import sweeping
from sweeprig.cli.console import console
from sweeprig.cli.rehearsing import SIMULATED

if TYPE_CHECKING:
    from sweeprig.bench.sweep.sweep import SweepDone
    from sweeprig.errors import SweeprigError

Run = Callable[[list[str]], int]
"""Runs one command of this program; returns its exit status. Raises SweeprigError."""


@dataclass
class Job:
    """What is known of the job so far, and the commands that were run."""

    run: Run
    port: str
    setting: str = "bench"
    drive: str = ""
    system: str = ""  # volts of the vehicle's supply; "" not known
    label: str = ""
    job: str = ""
    profile: str = ""
    track_ohm: str = ""  # as typed after --track-ohm, "" where it is not measured
    commands: list[list[str]] = field(default_factory=list)
    refused: SweeprigError | None = None  # what kept the last command from being done

    @property
    def simulated(self) -> bool:
        """Whether the sensor is a simulated one."""
        return self.port.startswith(SIMULATED)

    @property
    def hookup(self) -> str:
        """Who powers the sensor: rig (powered) or vehicle (tapped)."""
        return "tapped" if self.setting == "vehicle" else "powered"

    def options(self, *, named: bool = True) -> list[str]:
        """Return the options that every command of this job takes."""
        from sweeprig.bench.guide import confirmed_keys

        where = ["--setting", "vehicle", "--hookup", "tapped", "--drive", self.drive]
        where += ["--system", self.system] if self.system else []
        given = {"--port": self.port, "--job": self.job, "--profile": self.profile}
        given |= {"--track-ohm": self.track_ohm}
        given |= {"--label": self.label} if named else {}
        options = [word for name, value in given.items() if value for word in (name, value)]
        vehicle = where if self.setting == "vehicle" else []
        return [*options, *vehicle, "--confirm", confirmed_keys(self.setting, self.hookup, self.drive)]

    def do(self, arguments: list[str]) -> int | None:
        """Print one command, so that it can be typed the next time, and run it; None where it was refused."""
        from sweeprig.bench.guide import command_line
        from sweeprig.errors import SweeprigError

        self.commands.append(arguments)
        self.refused = None
        try:
            return self.run(arguments)
        except SweeprigError as error:
            self.refused = error
            console.error(error)
            return None
        finally:
            console.say()
            console.say(f"This step without the guide: {command_line(arguments)}")


def closing_words(done: SweepDone) -> str:
    """Return the verdict in one line and where it is stored, in case the card has scrolled off the screen."""
    from sweeprig.bench.review.card import card_of

    card = card_of(done.outcome)
    simulated = " (simulated)" if card.simulated else ""
    kept = [f"record {done.record}"] if done.record is not None else []
    kept += [f"sheet {done.sheets[0]}"] if done.sheets else []
    line = f"{card.verdict.upper()}{simulated}: {card.sentence}"
    kept += [f"capture {done.capture_file.name}"] if done.capture_file else []
    kept += [f"journal {done.journal}"] if done.journal else []
    return f"{line} Kept: {', '.join(kept) or 'nothing'}"


def kept_words(finished: list[SweepDone]) -> str:
    """Return what is kept of a job that was stopped."""
    files = [str(path) for done in finished if (path := done.capture_file or done.journal)]
    return f"kept: {', '.join(files)}" if files else sweeping.NOTHING_SAVED
