"""Codes to volts at the sensor: linearity, line, and the load that the rig puts on a track."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.capture.model import Capture, Channel, FloatArray, Trace
from sweeprig.frontend import FrontEnd
from sweeprig.trim.codes import corrected
from sweeprig.trim.model import ChannelTrim, Trim

PRESENT_RATIO = 0.1  # of nominal supply: a channel that never exceeds it is taken as not connected


def channel_volts(
    sums: NDArray[np.uint32],
    mins: NDArray[np.uint16],
    maxs: NDArray[np.uint16],
    *,
    window: int,
    trim: ChannelTrim,
) -> Channel:
    """Return volts at the sensor, as loaded, of one channel's records; all arrays (n,).

    v = offset + gain c', c' the code with the converter's departure taken off. A mean that straddles a wide code
    is interpolated, which is right where the signal is spread evenly over it.
    """

    def volts(code: FloatArray) -> FloatArray:
        return trim.line.offset_v + trim.line.gain_v * corrected(code, trim.linearity)

    return Channel(
        volts(sums.astype(np.float64) / window),
        volts(mins.astype(np.float64)),
        volts(maxs.astype(np.float64)),
    )


def unloaded(
    loaded_v: FloatArray, *, supply_v: FloatArray | float, track_ohm: float, load_ohm: float
) -> FloatArray:
    """Return what a potentiometer's wiper would give without load; any shape, NaN stays NaN.

    Loaded: r = v/Vs = x / (1 + x(1 - x) k), k = track / load. So k r x^2 + (1 - k r) x - r = 0, and x is its root
    between 0 and 1. Outside 0..Vs nothing is changed.
    """
    supply = np.asarray(supply_v, np.float64)
    r = np.divide(loaded_v, supply, out=np.zeros_like(loaded_v), where=supply > 0)
    k = track_ohm / load_ohm
    a, b = k * r, 1.0 - k * r
    root = np.sqrt(np.maximum(b * b + 4.0 * a * r, 0.0))
    x = 2.0 * r / np.where(b + root > 0, b + root, 1.0)
    inside = (r > 0) & (r < 1)
    return np.where(inside, x * supply, loaded_v)


def present(capture: Capture, channel: int) -> bool:
    """Return whether anything ever stood on a channel: the highest code exceeds a tenth of full scale."""
    maxs = capture.records.maxs
    return bool(maxs.size and int(maxs[:, channel].max()) > PRESENT_RATIO * (1 << 12))


def _channels(capture: Capture, trim: Trim) -> list[Channel]:
    r = capture.records
    return [
        channel_volts(r.sums[:, c], r.mins[:, c], r.maxs[:, c], window=capture.window, trim=trim.channels[c])
        for c in range(r.sums.shape[1])
    ]


def _gap_before(capture: Capture) -> NDArray[np.bool_]:
    index = capture.records.index
    jumped = np.diff(index, prepend=index[:1] - 1) != 1
    lost = (capture.records.flags & wire.FLAG_CONVERSIONS_LOST) != 0
    before: NDArray[np.bool_] = jumped | lost
    return before


def to_trace(
    capture: Capture,
    *,
    trim: Trim,
    front_end: FrontEnd,
    nominal_supply_v: float = 5.0,
    track_ohm: float | None = None,
) -> Trace:
    """Return the trace at the sensor. With `track_ohm` and the rig's own supply the load is taken out.

    A channel on which nothing ever stood is None: signal B without a second track, supply without its lead.
    """
    signal_a, signal_b, supply = _channels(capture, trim)
    if track_ohm is not None and capture.setup.hookup == "powered":
        signal_a, signal_b = (
            _without_load(s, supply, capture, track_ohm=track_ohm, front_end=front_end)
            for s in (signal_a, signal_b)
        )
    return Trace(
        t_s=capture.records.index.astype(np.float64) * capture.window_s,
        signal_a=signal_a,
        signal_b=signal_b if present(capture, 1) else None,
        supply=supply if present(capture, 2) else None,
        window_s=capture.window_s,
        n_per_window=capture.window,
        lsb_v=front_end.lsb_v,
        full_scale_v=front_end.full_scale_v,
        gap_before=_gap_before(capture),
        nominal_supply_v=nominal_supply_v,
        n_lost=capture.n_lost,
        name=capture.setup.sensor_label,
        shortest_dropout_s=front_end.shortest_dropout_s(str(capture.setup.hookup)),
    )


def _without_load(
    signal: Channel, supply: Channel, capture: Capture, *, track_ohm: float, front_end: FrontEnd
) -> Channel:
    burden = bool(capture.records.flags.size and np.median(capture.records.flags & wire.FLAG_BURDEN_ON))
    load = front_end.load_ohm(burden_on=burden)

    def free(volts: FloatArray) -> FloatArray:
        return unloaded(volts, supply_v=supply.mean_v, track_ohm=track_ohm, load_ohm=load)

    return Channel(free(signal.mean_v), free(signal.min_v), free(signal.max_v))
