"""The track map as a drawing: events as bars, noise as a line, passes told, over per cent of signal span."""

from __future__ import annotations

import numpy as np
from markupsafe import Markup

from sweeprig.analysis.model import Finding, TrackMap
from sweeprig.report import svg
from sweeprig.report.figures import fixed
from sweeprig.report.scales import ticks

LABEL_WIDTH = 52.0  # units, of `finding 1`


def _noise_runs(
    track: TrackMap, *, left: float, width: float, bottom: float, top_v: float, height: float
) -> str:
    """Return a stepped line over the bins that have a noise value."""
    parts = []
    drawing = False
    for low, high, value in zip(track.edge_percent[:-1], track.edge_percent[1:], track.noise_v, strict=True):
        if not np.isfinite(value):
            drawing = False
            continue
        y = bottom - min(value / top_v, 1.0) * height
        x0, x1 = (left + float(p) / 100 * width for p in (low, high))
        parts.append(f"{'L' if drawing else 'M'}{svg.px(x0)} {svg.px(y)}H{svg.px(x1)}")
        drawing = True
    return "".join(parts)


def _marks(d: svg.Svg, findings: tuple[Finding, ...], left: float, width: float, top: float) -> None:
    """Bracket the places that findings name; a label that would overlap an earlier one is left out."""
    labels: list[float] = []
    for number, finding in enumerate(findings, 1):
        if finding.where_percent is None:
            continue
        x0, x1 = (left + float(p) / 100 * width for p in finding.where_percent)
        x1 = max(x1, x0 + 4)
        d.path(f"M{svg.px(x0)} {svg.px(top + 5)}v-5H{svg.px(x1)}v5", stroke=svg.ALARM, stroke_width=1.6)
        middle = min(max((x0 + x1) / 2, left + 28), left + width - 28)
        if all(abs(middle - other) > LABEL_WIDTH for other in labels):
            d.text(middle, top - 5, f"finding {number}", size=10.0, text_anchor="middle", fill=svg.ALARM)
            labels.append(middle)


def passes_text(track: TrackMap) -> str:
    """Return how often each place was passed, in words."""
    low = int(track.passes.min()) if track.passes.size else 0
    high = int(track.passes.max(initial=0))
    text = f"each place passed {low} times" if low == high else f"places passed {low} to {high} times"
    return f"{text}; hatched: never passed" if not track.passes.all() else text


def track_svg(
    track: TrackMap, findings: tuple[Finding, ...], *, width: float, height: float, name: str, first: str
) -> Markup:
    """Return the drawing. `first` names the end at 0 %: closed, or low where the sense is unknown."""
    left, top, right, bottom = 30.0, 26.0, width - 34.0, height - 30.0
    w, h = right - left, bottom - top
    d = svg.Svg(width, height, name=name, label="Track map: events and noise over the signal span")
    n_max = max(int(track.events.max(initial=0)), 1)
    finite = track.noise_v[np.isfinite(track.noise_v)]
    top_v = max(float(finite.max()) * 1.15 if finite.size else 0.0, 1e-3)
    empty = d.hatch("empty", spacing=5.0, stroke=svg.HAIR)
    for k, count in enumerate(track.events):
        x0, x1 = (left + float(p) / 100 * w for p in track.edge_percent[k : k + 2])
        if track.passes[k] == 0:
            d.rect(x0, top, x1 - x0, h, fill=empty)
        if count:
            tall = float(count) / n_max * h
            d.rect(x0 + 0.4, bottom - tall, max(x1 - x0 - 0.8, 1.0), tall, fill=svg.ALARM)
    d.path(
        _noise_runs(track, left=left, width=w, bottom=bottom, top_v=top_v, height=h),
        stroke=svg.INK,
        stroke_width=1.2,
    )
    d.line(left, bottom, right, bottom, stroke=svg.INK, stroke_width=1.2)
    for p in (0, 25, 50, 75, 100):
        x = left + p / 100 * w
        d.line(x, bottom, x, bottom + 4, stroke=svg.MUTED)
        d.text(x, bottom + 15, str(p), text_anchor="middle", fill=svg.MUTED)
    d.text(right, bottom + 27, f"% of signal span, 0 = {first}", size=10.0, text_anchor="end", fill=svg.MUTED)
    for n in ticks(0, n_max, 3):
        if n == round(n) and track.events.any():
            d.text(left - 5, bottom - n / n_max * h + 3.5, fixed(n, 0), text_anchor="end", fill=svg.ALARM)
    for mv in ticks(0, top_v * 1e3, 3):
        d.text(right + 5, bottom - mv / (top_v * 1e3) * h + 3.5, f"{mv:g}", fill=svg.INK)
    bars, colour = ("events, bars", svg.ALARM) if track.events.any() else ("no events", svg.INK)
    d.text(left - 24, 11, bars, size=10.0, fill=colour)
    d.text(width - 2, 11, "noise, line [mV]", size=10.0, text_anchor="end", fill=svg.INK)
    _marks(d, findings, left, w, top)
    return d.markup()
