"""Signal B against signal A as a drawing: every place of the travel, the straight line, and where they disagree."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from sweeprig.analysis.model import TwoTracks
from sweeprig.capture.model import FloatArray, Trace
from sweeprig.report import svg
from sweeprig.report.figures import fixed
from sweeprig.report.scales import ticks

BINS = 200  # along signal A; each shows its lowest and highest B


@dataclass(frozen=True)
class Course:
    """B over A, in bins along A; arrays (k,). Volts."""

    a_v: FloatArray
    low_v: FloatArray
    high_v: FloatArray


def course_of(a_v: FloatArray, b_v: FloatArray) -> Course:
    """Return the lowest and highest mean of B (n,) in each bin of A (n,); empty bins are left out, so is NaN."""
    good = np.isfinite(a_v) & np.isfinite(b_v)
    a, b = a_v[good], b_v[good]
    if not a.size:
        return Course(a, a, a)
    edges = np.linspace(float(a.min()), float(a.max()) + 1e-9, BINS + 1)
    place = np.clip(np.digitize(a, edges) - 1, 0, BINS - 1)
    used = np.unique(place)
    middle = (edges[:-1] + edges[1:]) / 2
    low = np.array([b[place == k].min() for k in used])
    high = np.array([b[place == k].max() for k in used])
    return Course(middle[used], low, high)


def worst_at(a_v: FloatArray, b_v: FloatArray, line: TwoTracks) -> tuple[float, float]:
    """Return signal A [V] where B (n,) is farthest from its straight line, and how far that is [V]; NaN is left out."""
    far = np.abs(b_v - (line.offset_v + line.slope * a_v))
    k = int(np.nanargmax(far))
    return float(a_v[k]), float(far[k])


@dataclass(frozen=True)
class Frame:
    """Where the drawing lies, and the volts at its edges."""

    left: float
    top: float
    right: float
    bottom: float
    a_v: tuple[float, float]
    b_v: tuple[float, float]

    def x(self, value_v: float) -> float:
        """Return the place of a voltage of signal A."""
        low, high = self.a_v
        return self.left + (value_v - low) / (high - low) * (self.right - self.left)

    def y(self, value_v: float) -> float:
        """Return the height of a voltage of signal B, held inside the frame."""
        low, high = self.b_v
        return self.bottom - (min(max(value_v, low), high) - low) / (high - low) * (self.bottom - self.top)


def pair_svg(trace: Trace, line: TwoTracks, *, width: float, height: float, name: str) -> Markup:
    """Return the drawing; the range of both axes is that of what is shown."""
    d = svg.Svg(width, height, name=name, label="Signal B against signal A")
    assert trace.signal_b is not None
    c = course_of(trace.signal_a.mean_v, trace.signal_b.mean_v)
    if c.a_v.size < 2:
        d.text(10, height / 2, "too little was seen")
        return d.markup()
    low, high = float(c.low_v.min()), float(c.high_v.max())
    room = max(0.05 * (high - low), 0.01)
    span = (float(c.a_v[0]), float(c.a_v[-1]))
    f = Frame(38.0, 16.0, width - 8.0, height - 30.0, span, (low - room, high + room))
    _axes(d, f)
    ends = [(f.x(v), f.y(line.offset_v + line.slope * v)) for v in span]
    d.path(svg.polyline(ends), stroke=svg.MUTED, stroke_width=1.0, stroke_dasharray="5 3")
    bars = zip(c.a_v.tolist(), c.low_v.tolist(), c.high_v.tolist(), strict=True)
    course = "".join(f"M{svg.px(f.x(a))} {svg.px(f.y(lo))}V{svg.px(f.y(hi) - 1)}" for a, lo, hi in bars)
    d.path(course, stroke=svg.SIGNAL, stroke_width=1.6)
    _worst(d, f, *worst_at(trace.signal_a.mean_v, trace.signal_b.mean_v, line))
    return d.markup()


def _axes(d: svg.Svg, f: Frame) -> None:
    for value in ticks(*f.b_v, 4):
        d.line(f.left, f.y(value), f.right, f.y(value), stroke=svg.PALE)
        d.text(f.left - 5, f.y(value) + 3.5, f"{value:g}", size=10.0, text_anchor="end", fill=svg.MUTED)
    for value in ticks(*f.a_v, 5):
        d.text(f.x(value), f.bottom + 13, f"{value:g}", size=10.0, text_anchor="middle", fill=svg.MUTED)
    d.text(f.right, f.bottom + 25, "signal A [V]", size=10.0, text_anchor="end", fill=svg.MUTED)
    d.text(2, 10, "signal B [V]", size=10.0, fill=svg.MUTED)


def _worst(d: svg.Svg, f: Frame, a_v: float, far_v: float) -> None:
    """Mark the place where the tracks are farthest from their line."""
    x = f.x(a_v)
    anchor = "start" if x <= 110 else "middle" if x < d.width - 110 else "end"
    d.line(x, f.top, x, f.bottom, stroke=svg.ALARM, stroke_dasharray="2 3")
    text = f"farthest from the line: {fixed(1e3 * far_v, 0)} mV"
    d.text(max(x, 80.0), f.top - 4, text, size=10.0, text_anchor=anchor, fill=svg.ALARM)
