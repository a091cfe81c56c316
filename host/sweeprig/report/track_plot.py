"""The track map as a drawing: events as bars, noise as a line, passes told, over per cent of travel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from sweeprig.analysis.model import Finding, TrackMap
from sweeprig.report import svg
from sweeprig.report.figures import fixed
from sweeprig.report.scales import ticks

PEAK = "A peak of the noise alone is not a fault."
LABEL_WIDTH = 52.0  # units, of `finding 1`


@dataclass(frozen=True)
class Frame:
    """Where the map lies on the drawing, and what its two scales end at."""

    left: float
    top: float
    right: float
    bottom: float
    n_max: int  # events
    top_v: float  # [V] of noise

    def x(self, percent: float) -> float:
        """Return the place of a part of the travel [%]."""
        return self.left + float(percent) / 100 * (self.right - self.left)

    def y(self, part: float) -> float:
        """Return the height of a part of either scale, 0 to 1."""
        return self.bottom - part * (self.bottom - self.top)


def _frame(track: TrackMap, width: float, height: float) -> Frame:
    finite = track.noise_v[np.isfinite(track.noise_v)]
    top_v = max(float(finite.max()) * 1.15 if finite.size else 0.0, 1e-3)
    n_max = max(int(track.events.max(initial=0)), 1)
    return Frame(30.0, 26.0, width - 34.0, height - 30.0, n_max, top_v)


def _noise_runs(track: TrackMap, f: Frame) -> str:
    """Return a stepped line over the bins that have a noise value."""
    parts = []
    drawing = False
    for low, high, value in zip(track.edge_percent[:-1], track.edge_percent[1:], track.noise_v, strict=True):
        if not np.isfinite(value):
            drawing = False
            continue
        y = svg.px(f.y(min(value / f.top_v, 1.0)))
        parts.append(f"{'L' if drawing else 'M'}{svg.px(f.x(low))} {y}H{svg.px(f.x(high))}")
        drawing = True
    return "".join(parts)


def _marks(d: svg.Svg, findings: tuple[Finding, ...], f: Frame, channel: int) -> None:
    """Bracket the places that findings of this track name; a label that would overlap an earlier one is left out."""
    labels: list[float] = []
    for number, finding in enumerate(findings, 1):
        if finding.where_percent is None or (finding.channel == 1) != (channel == 1):
            continue
        x0, x1 = (f.x(p) for p in finding.where_percent)
        x1 = max(x1, x0 + 4)
        d.path(f"M{svg.px(x0)} {svg.px(f.top + 5)}v-5H{svg.px(x1)}v5", stroke=svg.ALARM, stroke_width=1.6)
        middle = min(max((x0 + x1) / 2, f.left + 28), f.right - 28)
        if all(abs(middle - other) > LABEL_WIDTH for other in labels):
            d.text(middle, f.top - 5, f"finding {number}", size=10.0, text_anchor="middle", fill=svg.ALARM)
            labels.append(middle)


def _bars(d: svg.Svg, track: TrackMap, f: Frame) -> None:
    """Draw a bar for the events of each place; hatch what was never passed."""
    empty = d.hatch("empty", spacing=5.0, stroke=svg.HAIR)
    for k, count in enumerate(track.events):
        x0, x1 = (f.x(p) for p in track.edge_percent[k : k + 2])
        if track.strokes_seen[k] == 0:
            d.rect(x0, f.top, x1 - x0, f.bottom - f.top, fill=empty)
        if count:
            top = f.y(float(count) / f.n_max)
            d.rect(x0 + 0.4, top, max(x1 - x0 - 0.8, 1.0), f.bottom - top, fill=svg.ALARM)


def _axes(d: svg.Svg, f: Frame, *, any_events: bool) -> None:
    d.line(f.left, f.bottom, f.right, f.bottom, stroke=svg.INK, stroke_width=1.2)
    for p in (0, 25, 50, 75, 100):
        d.line(f.x(p), f.bottom, f.x(p), f.bottom + 4, stroke=svg.MUTED)
        d.text(f.x(p), f.bottom + 15, str(p), text_anchor="middle", fill=svg.MUTED)
    for n in ticks(0, f.n_max, 3):
        if n == round(n) and any_events:
            d.text(f.left - 5, f.y(n / f.n_max) + 3.5, fixed(n, 0), text_anchor="end", fill=svg.ALARM)
    for mv in ticks(0, f.top_v * 1e3, 3):
        d.text(f.right + 5, f.y(mv / (f.top_v * 1e3)) + 3.5, f"{mv:g}", fill=svg.INK)


def passes_text(track: TrackMap) -> str:
    """Return how often each place was passed, in words."""
    low = int(track.strokes_seen.min()) if track.strokes_seen.size else 0
    high = int(track.strokes_seen.max(initial=0))
    times = f"{low}" if low == high else f"{low} {'or' if high == low + 1 else 'to'} {high}"
    text = f"each place was passed {times} times"
    return f"{text}; hatched: never passed" if not track.strokes_seen.all() else text


def track_svg(
    track: TrackMap,
    findings: tuple[Finding, ...],
    *,
    width: float,
    height: float,
    name: str,
    first: str,
    channel: int = 0,
) -> Markup:
    """Return the drawing of track A (`channel` 0) or B (1).

    `first` names the end at 0 %: closed, or low where the sense is unknown.
    """
    f = _frame(track, width, height)
    d = svg.Svg(width, height, name=name, label="Track map: events and noise over the travel")
    any_events = bool(track.events.any())
    _bars(d, track, f)
    d.path(_noise_runs(track, f), stroke=svg.INK, stroke_width=1.2)
    _axes(d, f, any_events=any_events)
    legend = f"% of travel, 0 = {first}"
    d.text(f.right, f.bottom + 27, legend, size=10.0, text_anchor="end", fill=svg.MUTED)
    d.text(f.left, f.bottom + 27, PEAK, size=10.0, fill=svg.MUTED)
    bars, colour = ("red bars: dropouts", svg.ALARM) if any_events else ("no dropouts", svg.INK)
    d.text(f.left - 24, 11, bars, size=10.0, fill=colour)
    d.text(width - 2, 11, "black line: noise [mV]", size=10.0, text_anchor="end", fill=svg.INK)
    _marks(d, findings, f, channel)
    return d.markup()
