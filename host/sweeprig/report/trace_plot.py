"""The trace as a drawing: signals and supply with every extreme, ends, margins to the rails, strokes, events."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from markupsafe import Markup

from sweeprig.analysis.model import Event
from sweeprig.capture.marks import marks_of
from sweeprig.capture.model import Channel, Trace
from sweeprig.judge.outcome import Outcome
from sweeprig.report import svg
from sweeprig.report.columns import Columns, to_columns
from sweeprig.report.facts import is_wiggle, mark_times
from sweeprig.report.figures import fixed, volts
from sweeprig.report.scales import ticks

LABEL = 15.0  # of the drawing, from one number of an axis to the next
NUMBERED = 9  # events that get a number; the others get a tick
THIN = 1.3  # units: a column no taller than the mean's line is hidden by it
Limits = tuple[float | None, float | None]


@dataclass(frozen=True)
class Frame:
    """Where the drawing's area lies and how volts and seconds map onto it."""

    left: float
    top: float
    right: float
    bottom: float
    start_s: float
    stop_s: float
    low_v: float
    high_v: float

    def x(self, t_s: float) -> float:
        """Return the place of a time [s]."""
        return self.left + (t_s - self.start_s) / (self.stop_s - self.start_s) * (self.right - self.left)

    def y(self, value_v: float) -> float:
        """Return the place of a voltage [V], clipped to the frame."""
        part = (value_v - self.low_v) / (self.high_v - self.low_v)
        return self.bottom - min(max(part, 0.0), 1.0) * (self.bottom - self.top)


def rail_limits(outcome: Outcome) -> Limits:
    """Return the limits nearest the rails, in volts as measured.

    A profile's limits of a ratiometric sensor hold for ratio x nominal supply [V]; drawn on the measured volts
    they are scaled by measured supply / nominal supply. None where there is no such limit.
    """
    supply, quantities = outcome.analysis.supply_v, outcome.judgement.quantities
    ratio = any(q.value is not None for name, q in quantities.items() if name.endswith("_ratio"))
    scale = supply / outcome.trace.nominal_supply_v if ratio and np.isfinite(supply) else 1.0
    at: dict[str, list[float]] = {"lower": [], "upper": []}
    for m in outcome.judgement.margins:
        if m.end in ("closed", "open", "low", "high"):
            at[m.rail].append(m.limit_v * scale)
    return min(at["lower"], default=None), max(at["upper"], default=None)


def numbered_events(events: tuple[Event, ...]) -> list[tuple[int, Event]]:
    """Return the deepest events with their numbers, in order of time."""
    worst = sorted(events, key=lambda e: -e.depth_percent)[:NUMBERED]
    return list(enumerate(sorted(worst, key=lambda e: e.start_s), 1))


def _frame(outcome: Outcome, width: float, height: float, compact: bool) -> Frame:
    trace = outcome.trace
    channels = [c for c in (trace.signal_a, trace.signal_b, trace.supply) if c is not None]
    top = max(float(c.max_v.max()) for c in channels)
    supply = outcome.analysis.supply_v
    top = max(top, supply if np.isfinite(supply) else trace.nominal_supply_v)
    low = min(0.0, *(float(c.min_v.min()) for c in channels))
    start = float(trace.t_s[0])
    stop = float(trace.t_s[-1]) + trace.window_s
    right = width - (8.0 if compact else 96.0)
    return Frame(34.0, 30.0, right, height - 56.0, start, stop, low, top * 1.03)


def _axes(d: svg.Svg, f: Frame) -> None:
    many = min(6, max(1, int((f.bottom - f.top) / LABEL)))  # a low drawing has no room for six
    for value in ticks(f.low_v, f.high_v, many):
        d.line(f.left, f.y(value), f.right, f.y(value), stroke=svg.PALE)
        d.text(f.left - 6, f.y(value) + 3.5, fixed(value, 0), text_anchor="end", fill=svg.MUTED)
    d.text(f.left - 6, f.top - 12, "V", text_anchor="end", fill=svg.MUTED)
    for value in ticks(f.start_s, f.stop_s, 6):
        digits = 0 if f.stop_s - f.start_s > 4 else 1
        d.line(f.x(value), f.bottom, f.x(value), f.bottom + 4, stroke=svg.MUTED)
        d.text(f.x(value), f.bottom + 15, fixed(value, digits), text_anchor="middle", fill=svg.MUTED)
    d.text(f.right, f.bottom + 15, "s", text_anchor="end", fill=svg.MUTED)


def _zones(d: svg.Svg, f: Frame, limits: Limits, supply_v: float) -> None:
    fill = d.hatch("zone", spacing=7.0, stroke="#9aa4ad", width=0.8)
    for limit, rail in zip(limits, (0.0, supply_v), strict=True):
        if limit is None:
            continue
        high, low = sorted((f.y(limit), f.y(rail)))
        d.rect(f.left, high, f.right - f.left, low - high, fill=fill)
        d.line(f.left, f.y(limit), f.right, f.y(limit), stroke=svg.MUTED, stroke_width=0.9)


def _band(f: Frame, c: Columns) -> str:
    parts = []
    for t, low, high in zip(c.t_s, c.low_v, c.high_v, strict=True):
        y0, y1 = f.y(float(low)), f.y(float(high))
        if y0 - y1 >= THIN:
            parts.append(f"M{svg.px(f.x(float(t)))} {svg.px(y0)}V{svg.px(y1)}")
    return "".join(parts)


def _mean(f: Frame, c: Columns) -> str:
    runs = np.split(np.arange(c.t_s.size), np.flatnonzero(c.starts[1:]) + 1)
    return "".join(
        svg.polyline((f.x(float(c.t_s[i])), f.y(float(c.mean_v[i]))) for i in run) for run in runs if run.size
    )


def _channel(d: svg.Svg, f: Frame, trace: Trace, channel: Channel, *, stroke: str, dash: str | None) -> None:
    n = max(60, int(f.right - f.left))
    c = to_columns(trace.t_s, channel, trace.gap_before, start_s=f.start_s, stop_s=f.stop_s, n=n)
    band = {} if dash is None else {"stroke_opacity": 0.4}
    d.path(_band(f, c), stroke=stroke, stroke_width=1.1, **band)
    d.path(_mean(f, c), stroke=stroke, stroke_width=1.3, stroke_dasharray=dash, stroke_linejoin="round")


def _gaps(d: svg.Svg, f: Frame, trace: Trace) -> None:
    for i in np.flatnonzero(trace.gap_before):
        start = float(trace.t_s[i - 1]) + trace.window_s if i else f.start_s
        x0, x1 = f.x(start), f.x(float(trace.t_s[i]))
        d.rect(x0, f.top, max(x1 - x0, 1.5), f.bottom - f.top, fill="#d7dce0")
        d.text((x0 + x1) / 2, (f.top + f.bottom) / 2, "lost", size=9.0, text_anchor="middle", fill=svg.MUTED)


def _strip(d: svg.Svg, f: Frame, outcome: Outcome, compact: bool) -> None:
    """Draw rests as bars and strokes as slanted lines below the axis."""
    y0, y1 = f.bottom + 24, f.bottom + 42
    at: Callable[[int], float] = lambda i: f.x(float(t[min(i, t.size - 1)]))  # noqa: E731
    t = outcome.trace.t_s
    for rest in outcome.analysis.rests:
        y = y0 if rest.place == "high" else y1 if rest.place == "low" else (y0 + y1) / 2
        d.line(at(rest.start), y, at(rest.stop), y, stroke=svg.INK, stroke_width=3.0)
    for number, stroke in enumerate(outcome.analysis.strokes, 1):
        x0, x1 = at(stroke.start), at(stroke.stop)
        ends = (y1, y0) if stroke.direction > 0 else (y0, y1)
        dash = None if stroke.full else "3 2"
        d.line(x0, ends[0], x1, ends[1], stroke=svg.INK, stroke_width=1.1, stroke_dasharray=dash)
        if x1 - x0 > 24:
            place = (x0 + x1) / 2 + (8 if stroke.direction > 0 else -8)
            d.text(place, y1 + 1, str(number), size=10.0, text_anchor="middle", fill=svg.INK)
    if not compact:
        d.text(f.right + 8, y0 + 9, "strokes, numbered", size=9.5, fill=svg.MUTED)
        d.text(f.right + 8, y1 + 5, "held still: thick", size=9.5, fill=svg.MUTED)


def _ends(d: svg.Svg, f: Frame, outcome: Outcome, compact: bool) -> list[tuple[float, str, str]]:
    a = outcome.analysis
    named = (
        (("closed", a.closed_end), ("open", a.open_end))
        if a.closed_end or a.open_end
        else (("low", a.low), ("high", a.high))
    )
    labels = []
    for name, end in named:
        if end is None:
            continue
        y = f.y(end.value_v)
        d.line(f.left, y, f.right, y, stroke=svg.INK, stroke_width=0.9, stroke_dasharray="7 4")
        labels.append((y, f"{name} {volts(end.value_v)}", svg.INK))
        if compact:
            d.text(f.left + 4, y - 4, f"{name} {volts(end.value_v)}", size=10.5, font_weight="600")
    return labels


def _events(d: svg.Svg, f: Frame, outcome: Outcome) -> None:
    events = outcome.analysis.events
    for event in events:
        x = f.x(event.start_s)
        d.path(f"M{svg.px(x)} {svg.px(f.bottom)}l-2.6 6h5.2z", fill=svg.ALARM, stroke=svg.ALARM)
    last = -20.0
    for number, event in numbered_events(events):
        x = max(f.x(event.start_s), last + 15)
        last = x
        d.line(f.x(event.start_s), f.top - 2, f.x(event.start_s), f.top + 4, stroke=svg.ALARM)
        d.circle(x, f.top - 11, 7.0, fill="#ffffff", stroke=svg.ALARM, stroke_width=1.3)
        centre = f.top - 7.4
        d.text(x, centre, str(number), size=10.0, fill=svg.ALARM, font_weight="700", text_anchor="middle")


def _spread(wanted: list[float], *, step: float, last: float) -> list[float]:
    """Return positions near the wanted ones, at least `step` apart and, if they fit, none below `last`."""
    placed: list[float] = []
    for y in wanted:
        placed.append(max(y, placed[-1] + step) if placed else y)
    for i in range(len(placed) - 1, -1, -1):
        most = last if i == len(placed) - 1 else placed[i + 1] - step
        placed[i] = min(placed[i], most)
    return placed


def _margin_labels(d: svg.Svg, f: Frame, labels: list[tuple[float, str, str]]) -> None:
    """Write the labels right of the frame, pushed apart where they would overlap."""
    ordered = sorted(labels)
    places = _spread([y + 3.5 for y, _, _ in ordered], step=12.5, last=f.bottom + 14)
    for at, (_, text, colour) in zip(places, ordered, strict=True):
        d.text(f.right + 8, at, text, size=10.5, fill=colour, font_weight="600")


def _marks(d: svg.Svg, f: Frame, outcome: Outcome) -> None:
    """Draw the presses of the rig's button as numbered flags."""
    for number, at_s in enumerate(mark_times(outcome), 1):
        x = f.x(at_s)
        d.line(x, f.top, x, f.bottom, stroke=svg.INK, stroke_dasharray="1.5 3")
        d.text(x + 3, f.bottom - 5, f"mark {number}", size=10.0)


def _bands(d: svg.Svg, f: Frame, outcome: Outcome) -> None:
    """Shade every other place of a wiggle test and name each where there is room."""
    marks = sorted(marks_of(outcome.capture), key=lambda m: m.at_s) if outcome.capture else []
    starts = [*(f.start_s + m.at_s for m in marks), f.stop_s]
    for number, (mark, (start, stop)) in enumerate(zip(marks, pairwise(starts), strict=True)):
        x0, x1 = f.x(min(start, f.stop_s)), f.x(min(stop, f.stop_s))
        if number % 2 == 0:
            d.rect(x0, f.top, max(x1 - x0, 0.0), f.bottom - f.top, fill="#eef1f4")
        d.line(x0, f.top, x0, f.bottom, stroke=svg.MUTED, stroke_dasharray="1.5 3")
        if x1 - x0 > 6.0 * len(mark.place):
            d.text((x0 + x1) / 2, f.bottom + 36, mark.place, size=10.5, text_anchor="middle", fill=svg.INK)


def trace_svg(outcome: Outcome, *, width: float, height: float, name: str) -> Markup:
    """Return the drawing; under 520 units wide the labels move inside, for a phone."""
    compact = width < 520
    f = _frame(outcome, width, height, compact)
    trace, supply_v = outcome.trace, outcome.analysis.supply_v
    rail = supply_v if np.isfinite(supply_v) else trace.nominal_supply_v
    d = svg.Svg(width, height, name=name, label="Signal over time with ends, margins, strokes and events")
    if is_wiggle(outcome):
        _bands(d, f, outcome)
    _axes(d, f)
    limits = rail_limits(outcome)
    _zones(d, f, limits, rail)
    _gaps(d, f, trace)
    labels = []
    if trace.supply is not None:
        _channel(d, f, trace, trace.supply, stroke=svg.MUTED, dash=None)
        labels.append((f.y(rail), f"supply {volts(supply_v)}", svg.MUTED))
    else:
        d.line(f.left, f.y(rail), f.right, f.y(rail), stroke=svg.MUTED, stroke_dasharray="2 4")
        labels.append((f.y(rail), f"nominal {volts(rail)}", svg.MUTED))
    d.line(f.left, f.y(0.0), f.right, f.y(0.0), stroke=svg.INK, stroke_width=1.6)
    labels.append((f.y(0.0), "sensor ground", svg.MUTED))
    if trace.signal_b is not None:
        _channel(d, f, trace, trace.signal_b, stroke=svg.SECOND, dash="5 3")
        labels.append((f.y(float(trace.signal_b.mean_v[-1])), "signal B, dashed", svg.SECOND))
    _channel(d, f, trace, trace.signal_a, stroke=svg.SIGNAL, dash=None)
    labels += _ends(d, f, outcome, compact)
    labels += [(f.y(v), f"limit {volts(v)}", svg.MUTED) for v in limits if v is not None]
    _events(d, f, outcome)
    if not is_wiggle(outcome):
        _marks(d, f, outcome)
        _strip(d, f, outcome, compact)
    if not compact:
        _margin_labels(d, f, labels)
    return d.markup()
