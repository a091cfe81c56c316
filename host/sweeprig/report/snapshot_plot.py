"""A snapshot as a drawing: every raw conversion around an event, in volts at the sensor."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from markupsafe import Markup

from sweeprig.capture.model import FloatArray
from sweeprig.link.messages import Snapshot
from sweeprig.report import svg
from sweeprig.report.figures import fixed
from sweeprig.report.scales import ticks

STYLES = ((svg.SIGNAL, None), (svg.SECOND, "4 2"), (svg.MUTED, "1.5 2"))


def snapshot_svg(
    shot: Snapshot,
    *,
    conversion_hz: float,
    shown: tuple[int, ...],
    volts: Callable[[int, FloatArray], FloatArray],
    width: float,
    height: float,
    name: str,
) -> Markup:
    """Return volts over microseconds from the conversion that triggered; `shown` are the channels to draw.

    `volts` makes volts at the sensor of a channel's codes.

    Conversions are interleaved: number i of the snapshot is of channel i modulo channels, at i / conversion_hz.
    """
    left, top, right, bottom = 36.0, 14.0, width - 8.0, height - 28.0
    codes = shot.codes.astype(float)
    for channel in range(shot.channels):
        pick = slice(channel, None, shot.channels)
        codes[pick] = volts(channel, codes[pick])
    t_us = (np.arange(codes.size) - shot.trigger) / conversion_hz * 1e6
    d = svg.Svg(width, height, name=name, label="Raw conversions around an event")
    if codes.size < 2:
        d.text(left, (top + bottom) / 2, "no conversions")
        return d.markup()
    chosen = np.isin(np.arange(codes.size) % shot.channels, shown)
    low, high = float(codes[chosen].min()), float(codes[chosen].max())
    room = max(0.06 * (high - low), 0.01)
    low, high = low - room, high + room
    x = left + (t_us - t_us[0]) / (t_us[-1] - t_us[0]) * (right - left)
    y = bottom - (codes - low) / (high - low) * (bottom - top)
    for value in ticks(low, high, 4):
        at = bottom - (value - low) / (high - low) * (bottom - top)
        d.line(left, at, right, at, stroke=svg.PALE)
        d.text(left - 5, at + 3.5, f"{value:g}", size=10.0, text_anchor="end", fill=svg.MUTED)
    for value in ticks(float(t_us[0]), float(t_us[-1]), 5):
        at = left + (value - t_us[0]) / (t_us[-1] - t_us[0]) * (right - left)
        d.text(float(at), bottom + 13, fixed(value, 0), size=10.0, text_anchor="middle", fill=svg.MUTED)
    d.text(right, bottom + 25, "µs from the trigger", size=10.0, text_anchor="end", fill=svg.MUTED)
    d.text(2, 10, "V", size=10.0, fill=svg.MUTED)
    for channel in shown:
        pick = slice(channel, None, shot.channels)
        colour, dash = STYLES[min(channel, 2)]
        points = list(zip(x[pick].tolist(), y[pick].tolist(), strict=True))
        d.path(svg.polyline(points), stroke=colour, stroke_width=1.2, stroke_dasharray=dash)
        if channel == shot.channel:
            d.path("".join(f"M{svg.px(a)} {svg.px(b)}h.01" for a, b in points), stroke=colour, stroke_width=3.4,
                   stroke_linecap="round")  # fmt: skip
    return d.markup()
