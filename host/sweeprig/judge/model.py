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
    would_decide: str = ""
    measured_v: float | None = None  # [V] as measured, where value_v is ratio x nominal supply

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
    would_decide: str = ""


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
