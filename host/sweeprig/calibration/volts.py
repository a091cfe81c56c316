"""Codes to volts at the sensor: linearity, line, and the load that the rig puts on a track."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.calibration.codes import CODES, corrected
from sweeprig.calibration.expected import mean_codes
from sweeprig.calibration.model import Calibration, ChannelCalibration
from sweeprig.calibration.slow import board_temperature_c, ground_at_sensor
from sweeprig.capture.model import Capture, Channel, FloatArray, Trace
from sweeprig.frontend import FrontEnd

ENCODER_COUNTS = 4096
PRESENT_RATIO = 0.1  # of full scale: a channel that never exceeds it is taken as not connected


def channel_volts(
    sums: NDArray[np.uint32],
    mins: NDArray[np.uint16],
    maxs: NDArray[np.uint16],
    *,
    window: int,
    calibration: ChannelCalibration,
) -> Channel:
    """Return volts at the sensor, as loaded, of one channel's records; all arrays (n,).

    v = offset + gain c', c' the code with the converter's departure taken off: of a single conversion by its code,
    of a mean by what mean the departures give under the window's noise and movement (expected.py). A wide code says
    less of a single conversion than the mean does: where it puts the mean outside, the extremes reach to the mean.
    """
    line = calibration.line
    mean = mean_codes(sums, mins, maxs, window=window, linearity=calibration.linearity)
    low, high = (corrected(c.astype(np.float64), calibration.linearity) for c in (mins, maxs))
    within = (mean, np.fmin(low, mean), np.fmax(high, mean))
    return Channel(*(line.offset_v + line.gain_v * c for c in within))


def code_volts(code: float, calibration: ChannelCalibration) -> float:
    """Return volts at the sensor of a single code."""
    return float(
        calibration.line.offset_v
        + calibration.line.gain_v * corrected(np.array([code]), calibration.linearity)[0]
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


def supply_observed(capture: Capture) -> bool:
    """Return whether the supply is measured: always by a rig that feeds the sensor, else with its lead on."""
    return capture.setup.hookup == "powered" or present(capture, 2)


def without_carry_over(
    channels: list[Channel], *, front_end: FrontEnd, conversion_hz: float
) -> list[Channel]:
    """Return the channels without the charge that each conversion keeps of the channel before it.

    Seen: v + m (v_before - v), m from FrontEnd.memory_at_sensor_v; the channels take turns. A calibration has the same
    volts on all three and is free of it. On buffered builds it
    is a third of a millivolt.
    """
    ratio, n = front_end.divider_ratio, len(channels)
    per_volt = ratio * front_end.memory_at_sensor_v(step_v=1.0, conversion_hz=conversion_hz, channels=n)
    out = []
    for before, own in zip([channels[-1], *channels[:-1]], channels, strict=True):
        off = per_volt * (before.mean_v - own.mean_v)
        out.append(Channel(own.mean_v - off, own.min_v - off, own.max_v - off))
    return out


def _channels(capture: Capture, calibration: Calibration) -> list[Channel]:
    r = capture.records
    return [
        channel_volts(
            r.sums[:, c],
            r.mins[:, c],
            r.maxs[:, c],
            window=capture.window,
            calibration=calibration.channels[c],
        )
        for c in range(r.sums.shape[1])
    ]


def angle_deg(position: NDArray[np.uint16]) -> FloatArray | None:
    """Return the shaft's angle [deg] (n,) from the encoder's 4096 counts a turn, unwrapped; None without encoder.

    A record without a position keeps the one before it; more than 1 % of them make the angle unusable: None.
    """
    known = position != wire.NO_POSITION
    if not known.size or np.count_nonzero(known) < 0.99 * known.size:
        return None
    last = np.maximum.accumulate(np.where(known, np.arange(known.size), 0))
    last = np.where(known[last], last, int(np.argmax(known)))
    return np.asarray(
        np.unwrap(position[last].astype(np.float64), period=ENCODER_COUNTS) * 360.0 / ENCODER_COUNTS
    )


def _gap_before(capture: Capture) -> NDArray[np.bool_]:
    index = capture.records.index
    jumped = np.diff(index, prepend=index[:1] - 1) != 1
    lost = (capture.records.flags & (wire.FLAG_CONVERSIONS_LOST | wire.FLAG_SPLICE)) != 0
    before: NDArray[np.bool_] = jumped | lost
    before[:1] = False  # every stream begins with a splice
    return before


def _flagged(capture: Capture) -> NDArray[np.bool_] | None:
    bad: NDArray[np.bool_] = (capture.records.flags & wire.FLAG_CONVERSION_ERROR) != 0
    return bad if bad.any() else None


def to_trace(
    capture: Capture,
    *,
    calibration: Calibration,
    front_end: FrontEnd,
    nominal_supply_v: float = 5.0,
    track_ohm: float | None = None,
) -> Trace:
    """Return the trace at the sensor. With `track_ohm` and the rig's own supply the load is taken out.

    A channel on which nothing ever stood is None: signal B without a second track, supply without its lead.
    """
    hz, volts = capture.conversion_hz, _channels(capture, calibration)
    signal_a, signal_b, supply = without_carry_over(volts, front_end=front_end, conversion_hz=hz)
    load = _load_ohm(capture, front_end)
    track = track_ohm if capture.setup.hookup == "powered" else None
    if track is not None:
        signal_a, signal_b = (_without_load(s, supply, track, load) for s in (signal_a, signal_b))
    return Trace(
        t_s=capture.records.index.astype(np.float64) * capture.window_s,
        signal_a=signal_a,
        signal_b=signal_b if present(capture, 1) else None,
        supply=supply if supply_observed(capture) else None,
        window_s=capture.window_s,
        n_per_window=capture.window,
        lsb_v=abs(calibration.channels[0].line.gain_v),
        full_scale_v=code_volts(CODES - 1, calibration.channels[0]),
        gap_before=_gap_before(capture),
        angle_deg=angle_deg(capture.records.position),
        ground_v=ground_at_sensor(capture, front_end),
        nominal_supply_v=nominal_supply_v,
        n_lost=capture.n_lost,
        n_lost_before=int(capture.records.index[0]) - capture.first_index if len(capture.records) else 0,
        flagged=_flagged(capture),
        name=capture.setup.sensor_label,
        shortest_dropout_s=front_end.shortest_dropout_s(str(capture.setup.hookup)),
        board_temperature_c=board_temperature_c(capture),
        smps_mode=str(capture.rig.get("smps") or ""),
        load_ohm=load if track is None else None,
    )


def _load_ohm(capture: Capture, front_end: FrontEnd) -> float:
    burden = bool(capture.records.flags.size and np.median(capture.records.flags & wire.FLAG_BURDEN_ON))
    return front_end.load_ohm(burden_on=burden)


def _without_load(signal: Channel, supply: Channel, track_ohm: float, load_ohm: float) -> Channel:
    def free(volts: FloatArray) -> FloatArray:
        return unloaded(volts, supply_v=supply.mean_v, track_ohm=track_ohm, load_ohm=load_ohm)

    return Channel(free(signal.mean_v), free(signal.min_v), free(signal.max_v))
