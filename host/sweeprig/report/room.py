"""How much of each part fits on the main page, which has to stay one A4 page whatever was typed or found."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from sweeprig.capture.model import SweepSetup
from sweeprig.judge.outcome import Outcome
from sweeprig.report.figures import CLAUSES, at_clause


@dataclass(frozen=True)
class Room:
    """The most of each part that the main page shows; the later pages show all."""

    reason: int = 260
    alert: int = 200
    alerts: int = 3
    findings: int = 2
    evidence: int = 330
    next_step: int = 330
    not_shown: int = 5  # points; each finding takes the space of three
    limits: int = 8
    fact: int = 120
    versions: int = 90
    trace_height: float = 245.0
    extra: bool = True  # the budget of the ends, or the first snapshot
    dense: bool = False  # smaller letters on paper, where long names take what the trace can give


ROOMY = Room()
TIGHT = Room(
    reason=170,
    alert=105,
    alerts=2,
    evidence=130,
    next_step=140,
    not_shown=1,
    limits=6,
    fact=96,
    versions=40,
    trace_height=220.0,
    extra=False,
)
# One remark is all that takes more space: its trace keeps its height.
SNUG = replace(TIGHT, alerts=1, limits=7, trace_height=262.0)
LINE = 75  # characters that fit into one line of a column, about
MOST_LINES = 7  # of findings in a roomy page


MOST_TYPED = 160  # characters of a name that a person types; what is longer stands behind the page as well
CUT = "\N{HORIZONTAL ELLIPSIS}"
LEAST_TYPED, MOST_HEAD = 60, 700  # characters: of each, where all of them come to more than that
BEHIND = " (in full on the next page)"
MM_WHO, MM_WHOSE, MM_WHEN = 2.1, 1.65, 1.5  # of a character on paper, in the lines of the head, about
WIDE_MM, LEAST_WHEN_MM, MOST_WHEN_MM = 185.0, 45.0, 85.0  # of the head, and of the column at its right
DENSE_LINES = 2  # of a head; with more the page takes smaller letters where the trace cannot give more
NEAR_LEAST = 70.0  # of the drawing above its least, under which a long head takes smaller letters
DENSE_TRACE = 40.0  # of the drawing, that smaller letters leave to the trace
SIGN_CHARACTERS = 30  # of a line under the place to sign, where ticks stand beside it, about

UNITS = 17.0  # of the trace's drawing in one line of text, about
LEAST_TRACE, LEAST_OF_TWO = 116.0, 128.0  # its labels, of one track and of two, need so much
PLAIN_LIMITS = 7  # that fit beside a page without findings
PLAIN_FINDINGS = 3.5  # lines of findings that fit beside the limits of a tight page


def most_typed(s: SweepSetup) -> int:
    """Return the most characters of each text at the head; fewer where together they are longer than names are."""
    return MOST_TYPED if sum(min(len(text), MOST_TYPED) for text in heads(s)) <= MOST_HEAD else LEAST_TYPED


def typed(text: str, most: int = MOST_TYPED) -> str:
    """Return a typed text whole; one that is longer than a name is, up to a word, with where the whole of it stands."""
    return text if len(text) <= most else _to_word(text, most)


def held(text: str, limit: int, ends: tuple[str, ...] = CLAUSES) -> str:
    """Return a text that ends with a clause where it is longer than `limit`; one without, up to a word, says so."""
    short = at_clause(text, limit, ends)
    return short if not short.endswith(CUT) or text.endswith(CUT) else _to_word(text, limit)


def _to_word(text: str, limit: int) -> str:
    kept = text[: limit - len(BEHIND)]
    return (kept.rpartition(" ")[0] or kept) + BEHIND


def named(s: SweepSetup) -> tuple[tuple[str, str], ...]:
    """Return the texts that name the sensor, each with its label."""
    return (("Job", s.job), ("label", s.sensor_label), ("part", s.part), ("serial", s.serial))


def heads(s: SweepSetup) -> tuple[str, ...]:
    """Return every typed text at the head."""
    return (s.workshop, s.customer, s.vehicle, s.operator, *(text for _, text in named(s)))


def head_lines(s: SweepSetup) -> int:
    """Return the lines of the head beyond the two of the sensor's names, for which every page has room."""
    most = most_typed(s)
    tester_mm = MM_WHEN * len(f"Tested by {typed(s.operator, most)}")
    when_mm = min(max(tester_mm, LEAST_WHEN_MM), MOST_WHEN_MM)
    left_mm = WIDE_MM - when_mm
    who = " · ".join(f"{name} {typed(text, most)}" for name, text in named(s) if text)
    lines = max(2, math.ceil(MM_WHO * len(who) / left_mm))
    whose = (
        s.workshop,
        f"Customer: {s.customer}" * bool(s.customer),
        f"Vehicle: {s.vehicle}" * bool(s.vehicle),
    )
    lines += sum(math.ceil(MM_WHOSE * len(typed(text, most)) / left_mm) for text in whose)
    right = 2 + math.ceil(tester_mm / when_mm)  # beside the kind of report, two lines high
    return max(lines, right - 2) - 2


def _sign_lines(s: SweepSetup) -> int:
    """Return the lines that the name under the place to sign takes beyond one."""
    return (len(f"Signature: {typed(s.operator, most_typed(s))}") - 1) // SIGN_CHARACTERS


def room_for(outcome: Outcome, *, n_alerts: int, n_tracks: int) -> Room:
    """Return the roomy page for the plain case, the snug one for a remark, the tight one where more takes space."""
    setup, judgement = outcome.setup, outcome.judgement
    many = sum(len(t) for _, t in named(setup))
    many += max(0, len(setup.workshop) + len(setup.customer) + len(setup.vehicle) - LINE)
    lines = sum(1 + (len(f.evidence) + len(f.next_step)) / LINE for f in judgement.findings[: ROOMY.findings])
    longest = max(len(t) for t in (outcome.analysis.sense_evidence, setup.lead_checked, setup.operator, ""))
    crowded = n_alerts > 1 or n_tracks > 1 or setup.setting == "vehicle" or many > 110
    tight = crowded or lines > MOST_LINES or longest > 100
    room = TIGHT if tight else SNUG if n_alerts else ROOMY
    height = room.trace_height - UNITS * _more_lines(outcome, room, n_tracks)
    least = LEAST_OF_TWO if n_tracks > 1 else LEAST_TRACE
    dense = room is TIGHT and height < least + NEAR_LEAST and head_lines(setup) > DENSE_LINES
    return replace(room, trace_height=least + DENSE_TRACE if dense else max(height, least), dense=dense)


def _more_lines(outcome: Outcome, room: Room, n_tracks: int) -> float:
    """Return the lines that head, limits, findings and a second track take from the trace."""
    setup, judgement = outcome.setup, outcome.judgement
    sign = _sign_lines(setup) if room is TIGHT else 0
    n_limits = min(len(judgement.margins) + len(judgement.checks), room.limits)
    limits = max(0, n_limits - PLAIN_LIMITS) if not judgement.findings else 0
    found = max(0.0, _finding_lines(outcome, room) - PLAIN_FINDINGS) if room is TIGHT else 0.0
    return head_lines(setup) + sign + 4.0 * outcome.simulated + limits + 3 * (n_tracks > 1) + found


def _finding_lines(outcome: Outcome, room: Room) -> int:
    """Return how many lines the findings take that the main page shows."""
    return sum(
        1
        + math.ceil(min(len(f.evidence), room.evidence) / LINE)
        + math.ceil(min(len(f.next_step), room.next_step) / LINE)
        for f in outcome.judgement.findings[: room.findings]
    )
