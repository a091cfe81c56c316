"""How much of everything the main page can hold: it has to stay on one A4 whatever was typed or found."""

from __future__ import annotations

from dataclasses import dataclass, replace

from sweeprig.judge.outcome import Outcome


@dataclass(frozen=True)
class Room:
    """Most of each part on the main page; the whole stands on the pages behind it."""

    typed: int = 40  # characters of one typed text
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
    trace_height: float = 236.0
    extra: bool = True  # the budget of the ends, or the first snapshot


ROOMY = Room()
TIGHT = Room(
    typed=22,
    reason=170,
    alert=105,
    alerts=2,
    evidence=130,
    next_step=90,
    not_shown=1,
    limits=6,
    fact=78,
    versions=40,
    trace_height=150.0,
    extra=False,
)
# One remark is all that takes more space: its trace keeps its height.
SNUG = replace(TIGHT, alerts=1, limits=7, trace_height=206.0)
LINE = 75  # characters that fit into one line of a column, about
MOST_LINES = 7  # of findings in a roomy page


UNITS = 17.0  # of the trace's drawing in one line of text, about
LEAST_TRACE, LEAST_OF_TWO = 116.0, 128.0  # its labels, of one track and of two, need so much
PLAIN_LIMITS = 5  # that fit beside a page without findings


def room_for(outcome: Outcome, *, n_alerts: int, n_tracks: int) -> Room:
    """Return the roomy page for the plain case, the snug one for a remark, the tight one where more takes space."""
    setup, judgement = outcome.setup, outcome.judgement
    typed = sum(len(t) for t in (setup.job, setup.sensor_label, setup.part, setup.serial))
    typed += max(0, len(setup.workshop) + len(setup.customer) + len(setup.vehicle) - LINE)
    lines = sum(1 + (len(f.evidence) + len(f.next_step)) / LINE for f in judgement.findings[: ROOMY.findings])
    longest = max(len(t) for t in (outcome.analysis.sense_evidence, setup.lead_checked, setup.operator, ""))
    crowded = n_alerts > 1 or n_tracks > 1 or setup.setting == "vehicle" or typed > 110
    tight = crowded or lines > MOST_LINES or longest > 100
    room = TIGHT if tight else SNUG if n_alerts else ROOMY
    height = room.trace_height - UNITS * _more_lines(outcome, room, n_tracks)
    return replace(room, trace_height=max(height, LEAST_OF_TWO if n_tracks > 1 else LEAST_TRACE))


def _more_lines(outcome: Outcome, room: Room, n_tracks: int) -> float:
    """Return the lines that the head, the limits and a second track take beyond a plain page; the trace gives them."""
    setup, judgement = outcome.setup, outcome.judgement
    head = sum(bool(text) for text in (setup.workshop, setup.customer, setup.vehicle))
    n_limits = min(len(judgement.margins) + len(judgement.checks), room.limits)
    limits = max(0, n_limits - PLAIN_LIMITS) if not judgement.findings else 0
    return (
        head
        + 2 * outcome.simulated
        + limits
        + 3 * (n_tracks > 1)
        + 2 * (len(judgement.findings) > 1 and room is TIGHT)
    )
