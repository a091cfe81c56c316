"""The wiggle test with a rig: events counted while they come, and the outcome of the finished capture."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from sweepboard.wire import SIGNAL_A, SIGNAL_B, SUPPLY
from sweeprig.analysis import events as ev
from sweeprig.analysis.model import Cause, Code, Event, Finding
from sweeprig.bench.wiggle.model import (
    Happening,
    Origin,
    Touched,
    Wiggled,
    happening,
    together,
    wiggled,
)
from sweeprig.capture.marks import PLACES, UNMARKED, MarkAt, marks_of, place_at
from sweeprig.capture.model import Channel, Trace
from sweeprig.judge.model import Quantity, Verdict
from sweeprig.judge.outcome import Outcome
from sweeprig.judge.profile import Profile

BUFFER_S = 1.5  # [s] of windows that the live search looks through
SUPPLY_LIMIT = "supply"  # the one limit of a profile that holds in a wiggle test as well
NO_ENDS = "not judged: this was a wiggle test, not a sweep"
WIGGLES = TASK, FAR_END = "wiggle", "wiggle-far-end"  # SweepSetup.task
TAIL_S = 0.15  # [s] at the end of the buffer in which an event may not be over yet
KEEP = frozenset({Code.RECORDS_LOST, Code.SUPPLY_OUT_OF_RANGE, Code.SUPPLY_SAG, Code.SUPPLY_CUT,
                  Code.RIG_OVER_RANGE, Code.GROUND_SHIFT, Code.NOT_ANALOGUE, Code.OPEN_SIGNAL,
                  Code.STUCK_LOW, Code.STUCK_HIGH})  # fmt: skip
_CAUSES = {
    Touched.SUPPLY: (Code.SUPPLY_DROPOUT, Cause.SUPPLY),
    Touched.TO_GROUND: (Code.LOOSE_CONNECTION, Cause.CONNECTION),
    Touched.TO_SUPPLY: (Code.LOOSE_CONNECTION, Cause.GROUND),
    Touched.PARTIAL: (Code.LOOSE_CONNECTION, Cause.CONNECTION),
    Touched.JUMP: (Code.LOOSE_CONNECTION, Cause.CONNECTION),
}


@dataclass
class LiveSearch:
    """Finds events in traces as they come. The finished capture is searched anew; that count is the one that holds."""

    profile: Profile
    far_end: bool = False
    marks: list[MarkAt] = field(default_factory=list)
    found: list[Happening] = field(default_factory=list)
    reading_v: float | None = None
    supply_v: float | None = None
    seconds: float = 0.0
    _parts: deque[Trace] = field(default_factory=deque)
    _done_s: float = -1.0
    _t0: float | None = None

    def feed(self, trace: Trace) -> list[Happening]:
        """Take the next windows; return what is new."""
        self._t0 = float(trace.t_s[0]) if self._t0 is None else self._t0
        self.seconds = float(trace.t_s[-1]) + trace.window_s - self._t0
        self.reading_v = float(np.median(trace.signal_a.mean_v[-100:]))
        if trace.supply is not None:
            self.supply_v = float(np.median(trace.supply.mean_v[-100:]))
        self._parts.append(trace)
        while len(self._parts) > 1 and self._parts[1].t_s[0] < trace.t_s[-1] - BUFFER_S:
            self._parts.popleft()
        new = self._search(joined(list(self._parts)))
        self.found += new
        return new

    @property
    def last_s(self) -> float | None:
        """When the last one began [s since the start]; None where there was none."""
        return self.found[-1].start_s if self.found else None

    def mark(self, place: str) -> None:
        """From now on the operator works at `place`."""
        self.marks.append(MarkAt(self.seconds, place))

    @property
    def place(self) -> str:
        """Where the operator works now."""
        return place_at(self.marks, self.seconds)

    def next_place(self) -> str:
        """Go on to the next place; return it."""
        self._next(self.seconds)
        return self.place

    def pressed(self, at_s: float) -> None:
        """Take a press of the rig's button at a time [s] of the stream: from then on it is the next place."""
        self._next(max(0.0, at_s - (self._t0 or 0.0)))

    def _next(self, at_s: float) -> None:
        now = place_at(self.marks, at_s)
        number = PLACES.index(now) + 1 if now in PLACES else 0
        self.marks.append(MarkAt(at_s, PLACES[number % len(PLACES)]))

    def _search(self, trace: Trace) -> list[Happening]:
        if trace.t_s.size < 40 or self._t0 is None:
            return []
        least = self.profile.limits.dropout.value
        end = float(trace.t_s[-1]) - TAIL_S
        fresh = [
            replace(e, start_s=e.start_s - self._t0)
            for e in raw_events(trace)
            if e.depth_percent >= least and self._done_s < e.start_s <= end
        ]
        groups = together(fresh)
        if fresh:
            self._done_s = max(e.start_s + e.duration_s for e in fresh) + self._t0
        return [happening(g, self.marks, far_end=self.far_end) for g in groups]


def raw_events(trace: Trace) -> list[Event]:
    """Return the events of all channels of a stretch of trace."""
    nominal = trace.nominal_supply_v
    rail = nominal if trace.supply is None else float(np.median(trace.supply.mean_v))
    rail = rail if rail > nominal / 2 else nominal
    supply = [] if trace.supply is None else _found(trace, trace.supply, 2 * rail)
    busy = np.zeros(trace.t_s.size, bool)
    for e in supply:
        busy[max(0, e.start - 1) : e.stop + 1] = True
    out = [_event(trace, e, SUPPLY, rail, True) for e in supply]
    for number, channel in ((SIGNAL_A, trace.signal_a), (SIGNAL_B, trace.signal_b)):
        if channel is not None:
            out += [
                _event(trace, e, number, rail, bool(busy[e.start : e.stop].any()))
                for e in _found(trace, channel, rail)
            ]
    return out


def _found(trace: Trace, channel: Channel, rail: float) -> tuple[ev.RawEvent, ...]:
    return ev.find(channel, window_s=trace.window_s, lsb_v=trace.lsb_v, supply_v=rail)


def _event(trace: Trace, e: ev.RawEvent, channel: int, rail: float, with_supply: bool) -> Event:
    to_ground, to_supply = e.extreme_v < 0.05 * rail, e.extreme_v > 0.95 * rail
    kind = "jump" if e.step else "to-ground" if to_ground else "to-supply" if to_supply else "partial"
    return Event(
        start_s=float(trace.t_s[e.start]),
        duration_s=e.duration_s,
        channel=channel,
        kind=kind,
        depth_percent=100 * abs(e.depth_v) / rail,
        at_percent=None,
        stroke=None,
        at_rest=True,
        with_supply=with_supply,
        score=e.score,
    )


def joined(parts: list[Trace]) -> Trace:
    """Return one trace of parts that follow each other."""
    if len(parts) == 1:
        return parts[0]
    last = parts[-1]

    def channel(name: str) -> Channel | None:
        found = [getattr(p, name) for p in parts]
        if any(c is None for c in found):
            return None
        return Channel(
            *(np.concatenate([getattr(c, f) for c in found]) for f in ("mean_v", "min_v", "max_v"))
        )

    a = channel("signal_a")
    assert a is not None
    return replace(
        last,
        t_s=np.concatenate([p.t_s for p in parts]),
        signal_a=a,
        signal_b=channel("signal_b"),
        supply=channel("supply"),
        gap_before=np.concatenate([p.gap_before for p in parts]),
        angle_deg=None,
        ground_v=None,
    )


# --- the finished capture


def wiggle_of(outcome: Outcome) -> Wiggled:
    """Return what a finished wiggle capture shows: its own events, by place and cause."""
    capture = outcome.capture
    trace = outcome.trace
    marks = [] if capture is None else marks_of(capture)
    start = float(trace.t_s[0])
    events = [replace(e, start_s=e.start_s - start) for e in outcome.analysis.events]
    return wiggled(
        events,
        marks,
        seconds=float(trace.t_s[-1] - start) + trace.window_s,
        far_end=outcome.setup.task == FAR_END,
        least_percent=outcome.profile.limits.dropout.value,
    )


def as_wiggle(outcome: Outcome) -> tuple[Outcome, Wiggled]:
    """Return the outcome of a wiggle capture: its findings are its events; nothing of a sweep is judged.

    Without an event the verdict is undecided, "not reproduced": never a pass.
    """
    w = wiggle_of(outcome)
    kept = tuple(f for f in outcome.judgement.findings if f.code in KEEP)
    found = findings(w)
    verdict = Verdict.FAIL if found or any(f.severity == "fault" for f in kept) else Verdict.UNDECIDED
    reason = (found or kept)[0].evidence if verdict is Verdict.FAIL else _not_reproduced(w)
    judgement = replace(
        outcome.judgement,
        verdict=verdict,
        reason=reason,
        quantities={name: _unjudged(name, q) for name, q in outcome.judgement.quantities.items()},
        margins=(),
        checks=tuple(c for c in outcome.judgement.checks if c.name == SUPPLY_LIMIT),
        findings=(*found, *kept),
        not_shown=("Ends, margins and travel: this was a wiggle test, not a sweep.",),
    )
    events = tuple(replace(e, at_percent=None, stroke=None, at_rest=True) for e in outcome.analysis.events)
    analysis = replace(outcome.analysis, strokes=(), rests=(), events=events)
    return replace(outcome, analysis=analysis, judgement=judgement), w


def _unjudged(name: str, q: Quantity) -> Quantity:
    """Keep the supply; ends and travel of a lever that the operator holds say nothing."""
    return q if name == "supply_v" else replace(q, value=None, u95=None, budget=(), reason=NO_ENDS)


def _not_reproduced(w: Wiggled) -> str:
    return (
        f"Not reproduced: no event in {w.seconds:.0f} s of wiggling. Heat, vibration and other movements are"
        " not excluded."
    )


def findings(w: Wiggled) -> tuple[Finding, ...]:
    """Return one finding for each kind of thing that was touched, the most frequent first."""
    groups: dict[tuple[Touched, Origin], list[Happening]] = {}
    for h in w.happenings:
        groups.setdefault((h.touched, h.origin), []).append(h)
    ordered = sorted(groups.items(), key=lambda item: -len(item[1]))
    return tuple(_finding(touch, source, hits) for (touch, source), hits in ordered)


def _finding(touch: Touched, source: Origin, hits: Sequence[Happening]) -> Finding:
    code, cause = _CAUSES[touch]
    places = {h.place for h in hits}
    counts = ", ".join(
        f"{sum(h.place == p for h in hits)} {'with no place marked' if p == UNMARKED else 'at ' + p}"
        for p in sorted(places)
    )
    deepest = max(h.depth_percent for h in hits)
    n = len(hits)
    text = f"{n} event{'s' if n != 1 else ''} while the harness was moved ({counts}), up to {deepest:.0f} % of supply"
    text += f": {touch}" + (f"; {source}" if source else "")
    channel = next((c for c in hits[0].channels if c != SUPPLY), None)
    return Finding(
        code, cause, channel, None, text, _next_step(touch, source, places), "fault", {"n": float(n)}
    )


def _next_step(touch: Touched, source: Origin, places: set[str]) -> str:
    where = " and ".join(sorted(places & set(PLACES)))
    if source is Origin.LEAD_A:
        return "Seat the rig's own tap at the sensor again and repeat; check --lead tests the lead."
    if source is Origin.HARNESS:
        return f"Look at the wire between sensor and controller{' near ' + where if where else ''}."
    if touch is Touched.SUPPLY:
        return "Look at the supply pin and its wire; a clamped supply takes the signal with it."
    if touch is Touched.TO_SUPPLY:
        return "Look at the sensor's ground pin first, then for the signal against the supply."
    return (
        f"Look at the signal pin, its crimp and its wire{' at ' + where if where else ''}; then wiggle again."
    )
