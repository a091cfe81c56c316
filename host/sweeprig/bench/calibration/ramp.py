"""Linearity of the rig's converter from a slow ramp on its leads, counted by the board itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sweeprig.bench.calibration.points import calibration_hookup
from sweeprig.bench.hookup.engine_watch import EngineWatch
from sweeprig.bench.hookup.prepare import ask_slow
from sweeprig.bench.readings.engine import EngineSeen
from sweeprig.bench.readings.live import POLL_S, streaming
from sweeprig.calibration.codes import CODES, nominal_linearity, rectangular
from sweeprig.calibration.density import Density, density_linearity, departures_left, ramp_density
from sweeprig.calibration.fit import CalibrationPoint
from sweeprig.calibration.model import Calibration, ChannelCalibration, FloatArray, Linearity
from sweeprig.calibration.ramp import fit_after_ramp
from sweeprig.capture.model import Hookup
from sweeprig.errors import BoardSilentError, CalibrationError
from sweeprig.frontend import front_end_of
from sweeprig.link.client import RigClient
from sweeprig.link.messages import Histogram, Message, Records

PIECES_S = 30.0  # the board's time to send its counts after the last window
END_CODES = 64  # at either end in which a resting ramp may pile up counts
PILE = 3.0  # times the usual count
NOISE_CODES = 8  # beyond a pile that its noise still reaches


@dataclass(frozen=True)
class Straightened:
    """A calibration with a measured linearity, and the largest departure before and after [LSB]."""

    calibration: Calibration
    density: Density
    raw_lsb: float  # nothing taken off
    nominal_lsb: float  # the usual wide codes taken off
    left_lsb: float  # the measured linearity taken off
    worst_code: int  # the widest code
    worst_dnl_lsb: float


def count_codes(
    client: RigClient,
    *,
    seconds: float,
    channel: int = 0,
    progress: Callable[[float], None] = lambda _: None,
    hookup: Hookup | None = None,
    begin: Callable[[], None] = lambda: None,
) -> NDArray[np.int64]:
    """Return how often each code (4096,) came in `seconds` of one channel. Raises BoardSilentError.

    `progress` is called with the share of the time that has passed, `begin` once the stream runs. `hookup` None: the
    one in which the rig puts no voltage on a source at its leads.
    """
    windows = max(1, round(seconds / client.window_s))
    counts, first, got = np.zeros(CODES, np.int64), None, 0
    last = windows + round(PIECES_S / client.window_s)
    engine = EngineWatch(EngineSeen(front_end_of(client.hello()), suspects=False))
    with streaming(client, str(hookup or calibration_hookup(client))):
        begin()
        ask_slow(client)
        client.command("histogram", channel=channel, windows=windows)
        silent = 0
        while got < CODES and silent < 100:
            silent += 1
            for message in _polled(client, engine):
                silent = 0
                if isinstance(message, Histogram):
                    counts[message.first_code : message.first_code + message.counts.size] = message.counts
                    got += message.counts.size
                elif isinstance(message, Records):
                    first = int(message.index[0]) if first is None else first
                    progress(min(1.0, (int(message.index[-1]) - first) / windows))
                    silent = 100 if int(message.index[-1]) - first > last else silent
    if got < CODES:
        raise BoardSilentError(
            "The counts of ADC codes are incomplete.",
            seen=f"{got} of {CODES}",
            next_step="repeat; if it happens again: sweeprig install",
        )
    return counts


def _polled(client: RigClient, engine: EngineWatch) -> list[Message]:
    messages = client.poll(POLL_S)
    engine.feed(messages)
    engine.check()
    return messages


def without_rests(counts: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the counts without the excess at either end, where a ramp rests or reverses.

    Wide codes are further inside and stay.
    """
    counts = counts.copy()
    came = np.flatnonzero(counts)
    if came.size < 4 * END_CODES:
        return counts
    usual = PILE * float(np.median(counts[came]))
    low = [c for c in came[:END_CODES] if counts[c] > usual]
    high = [c for c in came[-END_CODES:] if counts[c] > usual]
    if low:
        counts[: low[-1] + NOISE_CODES] = 0
    if high:
        counts[high[0] - NOISE_CODES + 1 :] = 0
    return counts


def straighten(calibration: Calibration, counts: NDArray[np.int64], *, ramp_percent: float) -> Straightened:
    """Return the calibration with the converter's measured linearity, each channel's line fitted again to its points.

    All channels share one converter. `ramp_percent`: the ramp's own linearity as its maker states it, ± per cent of
    its range, rectangular. Raises CalibrationError.
    """
    if not any(c.points for c in calibration.channels):
        raise CalibrationError("The rig has no calibration to correct.", next_step="sweeprig calibrate")
    if calibration.meter is None:
        raise CalibrationError(
            "The stored calibration does not name its meter.", next_step="sweeprig calibrate"
        )
    density = ramp_density(without_rests(counts))
    linearity = density_linearity(density, ramp_u_lsb=rectangular(ramp_percent / 100.0 * CODES))
    channels = tuple(_again(c, calibration, linearity) for c in calibration.channels)
    edges = np.append(density.code[0] - 0.5, density.code + 0.5)
    worst = int(np.argmax(density.dnl_lsb))
    return Straightened(
        replace(calibration, kind="line+linearity", channels=channels),
        density,
        _largest(density, _nothing(), edges),
        _largest(density, nominal_linearity(calibration.chip) or _nothing(), edges),
        _largest(density, linearity, edges),
        int(density.code[worst]),
        float(density.dnl_lsb[worst]),
    )


def _nothing() -> Linearity:
    return Linearity(np.array([0.0, float(CODES)]), np.zeros(2), 0.0, "nominal")


def _largest(density: Density, linearity: Linearity, edges: FloatArray) -> float:
    return float(np.abs(departures_left(edges, linearity, density)).max())


def _again(own: ChannelCalibration, calibration: Calibration, linearity: Linearity) -> ChannelCalibration:
    from sweeprig.calibration.fit import meter_covariance
    from sweeprig.calibration.monitor import reference_covariance

    if not own.points or calibration.meter is None:
        return own
    points = tuple(CalibrationPoint(code, volts) for code, volts in own.points)
    volts = np.array([v for _, v in own.points])
    cov = meter_covariance(volts, calibration.meter)
    if calibration.reference == "monitor" and calibration.monitor is not None:
        cov = reference_covariance(volts, calibration.monitor)
    return fit_after_ramp(own.channel, points, cov_v=cov, linearity=linearity)
