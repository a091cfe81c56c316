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


STEADY_SHARE = 0.02  # of its mean: a supply that moves by less is said, not drawn; own choice, no source


def _steady_supply(volts: FloatArray) -> float | None:
    """Return the mean of a steady supply [V]; None where it moves, or was not measured."""
    if not volts.size or np.ptp(volts) > STEADY_SHARE * abs(volts.mean()):
        return None
    return float(volts.mean())


def _range(volts: FloatArray) -> tuple[float, float]:
    """Return the lowest and highest volts of the drawing: those of the curves, and a little room."""
    low, high = float(volts.min()), float(volts.max())
    room = max(0.06 * (high - low), 0.01)
    return low - room, high + room


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

    `volts` converts a channel's codes to volts at the sensor. The channels are converted in turn: conversion i of the
    snapshot is of channel i modulo `channels`, at i / conversion_hz.
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
    steady = _steady_supply(codes[2 :: shot.channels]) if 2 in shown and shot.channel != 2 else None
    if steady is not None:  # its line would take the height that the signal needs
        shown = tuple(c for c in shown if c != 2)
        said = f"supply {steady:z.2f} V, steady"
        d.text(right, 10, said, size=10.0, text_anchor="end", fill=svg.MUTED)
    low, high = _range(codes[np.isin(np.arange(codes.size) % shot.channels, shown)])
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
