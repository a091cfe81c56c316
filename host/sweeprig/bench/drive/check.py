"""The check of the motor by a small step each way: whether it turns the lever, how far, and whether it lets go."""

from __future__ import annotations

import math
from contextlib import suppress
from dataclasses import asdict, dataclass
from typing import Any

from sweeprig.bench.drive.motor import FAULTS, Motor, Where, between, check_fitted, fault, move
from sweeprig.bench.hookup.way_out import held_back, unwinding
from sweeprig.errors import LinkError
from sweeprig.link.client import RigClient

STEP_DEG = 5.0
STEP_DEG_S = 10.0
NEAR_DEG = 0.7  # of a step: what it may be off and still be good


@dataclass(frozen=True)
class Step:
    """One step, opening direction positive."""

    asked_deg: float
    moved_deg: float
    state: str

    @property
    def good(self) -> bool:
        """Whether the lever went where it was asked to."""
        return self.state == "arrived" and abs(self.moved_deg - self.asked_deg) <= NEAR_DEG

    @property
    def line(self) -> str:
        """One line of the report."""
        way = "opening" if self.asked_deg > 0 else "closing"
        word = "good" if self.good else self.state
        return f"{way}: asked {self.asked_deg:+.1f} degrees, moved {self.moved_deg:+z.1f}: {word}"


@dataclass(frozen=True)
class MotorCheck:
    """Result of a small step each way."""

    start_deg: float
    steps: tuple[Step, ...]

    @property
    def good(self) -> bool:
        """Whether both steps were made."""
        return all(step.good for step in self.steps)

    @property
    def homed(self) -> bool:
        """Whether the home switch kept the lever from closing."""
        return self.steps[-1].state == "home reached"

    @property
    def next_step(self) -> str:
        """What to do; "" where all is good."""
        if self.good:
            return ""
        if self.homed and self.steps[0].good:
            return "The home switch is pressed: turn the lever to its middle by hand and run it again."
        bad = next(step for step in self.steps if not step.good)
        return str(fault(bad.state if bad.state in FAULTS else "stalled", bad.line))

    def lines(self) -> list[str]:
        """Return the report."""
        out = [f"The angle encoder is at {self.start_deg:.1f} degrees."]
        out += [step.line for step in self.steps]
        out.append("The motor is let go.")
        return [*out, self.next_step] if self.next_step else [*out, "Motor, belt and encoder work together."]

    def to_json(self) -> dict[str, Any]:
        """Return it as one JSON object; an angle that is not known is null."""
        steps = [{**asdict(s), "moved_deg": _known(s.moved_deg), "good": s.good} for s in self.steps]
        return {
            "start_deg": self.start_deg,
            "steps": steps,
            "good": self.good,
            "next_step": self.next_step or None,
        }


def _known(value: float) -> float | None:
    return None if math.isnan(value) else round(value, 2)


def small_steps(client: RigClient, *, step_deg: float = STEP_DEG) -> MotorCheck:
    """Make a step in opening and one in closing direction, and switch the motor off whatever happens.

    Raises HookupError without a drive, DriveError without an encoder, LinkError.
    """
    check_fitted(client)
    motor = Motor(client)
    with unwinding():
        try:
            start = motor.where()
            if start.counts is None:
                raise fault("no encoder", "no angle")
            steps, at = [], start
            for asked in (step_deg, -step_deg):
                end = move(motor, at, asked, STEP_DEG_S, client.rest)
                steps.append(Step(asked, between(at, end), end.state))
                at = end
                if end.counts is None:
                    break
            return MotorCheck(start.deg, tuple(steps))
        finally:
            with held_back(), suppress(LinkError):  # a board that is gone lets go by itself
                motor.let_go()


def learn(client: RigClient) -> Where:
    """Make a small step each way before any long one, so that the board knows which way the motor turns.

    One of the two may end at a stop or at home. Returns the lever's place afterwards. Raises DriveError, LinkError.
    """
    found = small_steps(client)
    if not any(step.good for step in found.steps):
        raise fault(_worst(found), "; ".join(step.line for step in found.steps))
    return Motor(client).where()


def _worst(found: MotorCheck) -> str:
    return next((step.state for step in found.steps if step.state in FAULTS), "home")
