"""Verdicts: values with their uncertainty against limits, and the whole from the parts."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from sweeprig.analysis.model import Finding
from sweeprig.calibration.model import BudgetLine as BudgetLine


class Verdict(StrEnum):
    """JCGM 106: inside or outside with the uncertainty counted, or neither."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"


UNKNOWN_U = "uncertainty not known: no scatter, and the instrument is not known"


@dataclass(frozen=True)
class Quantity:
    """A reported value with its uncertainty. `value` and `u95` are None where it was not measured.

    Only `u95` is None where nothing is known of the uncertainty; `reason` says why.
    """

    name: str
    unit: str
    value: float | None
    u95: float | None  # half-width of the 95 % interval
    reason: str = ""  # why it is not measured
    u: float | None = None
    dof: float = float("inf")
    coverage_factor: float | None = None
    n_samples: int = 0
    budget: tuple[BudgetLine, ...] = ()


@dataclass(frozen=True)
class OpenPoint:
    """One thing that keeps a verdict open."""

    name: str
    text: str  # what is open, and why
    step: str = ""  # what to do about it

    @property
    def in_full(self) -> str:
        """Both as sentences."""
        return sentences(self.text, self.step)


def sentences(*texts: str) -> str:
    """Return texts as sentences, one behind the other; empty ones are left out."""
    said = (f"{t[:1].upper()}{t[1:]}" for t in texts if t)
    return " ".join(t if t.endswith((".", "?")) else f"{t}." for t in said)


RAIL_NAMES = {"lower": "ground", "upper": "the supply"}


@dataclass(frozen=True)
class Margin:
    """The level of one end against the limit towards one rail."""

    end: str  # closed | open | low | high, with " B" on track B
    rail: str  # lower | upper
    level_v: float | None  # [V] of the end, on the scale that is judged; not its distance from the rail
    u95: float | None  # [V] half-width of its 95 % interval
    limit_v: float
    verdict: Verdict
    would_decide: str = ""  # why it is open, and what would decide it
    measured_v: float | None = None  # [V] as measured, where value_v is ratio x nominal supply
    next_step: str = ""  # what to do where it is open
    vague: bool = False  # open because the level is hardly known, wherever the limit is

    @property
    def end_text(self) -> str:
        """The end in words: `closed end`, `open end of track B`."""
        name, _, track = self.end.partition(" ")
        return f"{name} end" + (f" of track {track}" if track else "")

    @property
    def rail_text(self) -> str:
        """The side in words, as it stands before `limit` or behind an end."""
        return "ground side" if self.rail == "lower" else "supply side"


@dataclass(frozen=True)
class Check:
    """One quantity against a limit that is no rail margin. None stands for not measured, or for no limit."""

    name: str  # closed | open | span | supply | strokes | slope_b ...: the limit's key in the profile
    value: float | None
    u95: float | None
    unit: str
    low: float | None
    high: float | None
    verdict: Verdict
    source: str = ""  # of the limit
    would_decide: str = ""  # why it is open, and what would decide it
    next_step: str = ""  # what to do where it is open


@dataclass(frozen=True)
class Judgement:
    """The overall verdict, its reason first, and its parts."""

    verdict: Verdict
    reason: str
    quantities: dict[str, Quantity]  # closed_v, open_v, low_v, high_v, span_v, supply_v, closed_ratio, ...
    margins: tuple[Margin, ...]
    findings: tuple[Finding, ...]  # the analysis's own and those from limits
    not_shown: tuple[str, ...]
    profile_name: str
    guard_factor: float
    checks: tuple[Check, ...] = ()  # limits other than the margins to the rails
    reservation: str = ""  # what a pass does not say; empty under any other verdict
    open_points: tuple[OpenPoint, ...] = ()  # of an undecided one, the first in full in the reason
    within: str = ""  # the end of the reason that lists what is within limits

    @property
    def main_reason(self) -> str:
        """The reason without what is within limits."""
        return self.reason.removesuffix(self.within)
