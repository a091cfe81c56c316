"""A calibration of the rig from points to the stored calibration."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from sweepboard.wire import CHANNEL_NAMES
from sweeprig.bench.calibration.points import Measured, calibration_hookup, codes_of, measure, write_points
from sweeprig.calibration.codes import CODES
from sweeprig.calibration.fit import LEAST_RANGE, CalibrationPoint, fit_channel, meter_covariance, prepare
from sweeprig.calibration.mistakes import refuse_mistakes
from sweeprig.calibration.model import Calibration, ChannelCalibration, FloatArray, Meter
from sweeprig.calibration.monitor import fit_monitor, monitor_volts
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.store import save_calibration
from sweeprig.calibration.volts import code_volts
from sweeprig.capture.folder import local_now
from sweeprig.errors import CalibrationError
from sweeprig.link.client import RigClient

NEW_POINT_V = 0.08  # by which a point with the monitor has to differ from those before it
MONITOR_READINGS = 8


@dataclass(frozen=True)
class CalibrationOrder:
    """What the operator asked for in a calibration."""

    meter: Meter | None  # None with the monitor as reference
    operator: str = ""
    reference: str = "meter"  # meter | monitor
    temperature_c: float | None = None
    max_age_days: float = 180.0
    notes: str = ""


@dataclass(frozen=True)
class Found:
    """Error at one point of the former calibration (as found) and of the new one (as left) [V]."""

    reading_v: float
    as_found_v: float | None
    as_left_v: float


@dataclass(frozen=True)
class CalibrationDone:
    """A new calibration and where it is."""

    calibration: Calibration
    file: Path | None
    points_file: Path | None
    found: tuple[Found, ...]  # of signal A
    not_connected: tuple[str, ...]  # channels that did not follow the voltage and stay nominal


def make_calibration(
    points: Sequence[Measured],
    order: CalibrationOrder,
    rig: Mapping[str, Any],
    *,
    before: Calibration | None = None,
    now: Callable[[], datetime] = local_now,
) -> CalibrationDone:
    """Return a calibration from points that have their readings; nothing is written.

    Raises CalibrationError where a reading is slipped, points are swapped, or they are too few or too close.
    """
    volts, cov = _references(points, order, before)
    nominal = nominal_calibration(rig)
    connected = _connected(points)
    channels = tuple(
        _channel(points, volts, cov, own, nominal.chip) if own.channel in connected else own
        for own in nominal.channels
    )
    calibration = replace(
        nominal,
        kind=_kind(channels),
        channels=channels,
        made_at=now().isoformat(timespec="seconds"),
        operator=order.operator,
        meter=order.meter if order.reference == "meter" else (before.meter if before else None),
        reference=order.reference,
        temperature_c=_temperature(points, order),
        smps_mode=str(rig.get("smps", "")),
        max_age_days=order.max_age_days,
        notes=order.notes,
        monitor=_monitor(points, volts, cov, order, before),
        verified=(),
    )
    missing = tuple(CHANNEL_NAMES[c.channel] for c in nominal.channels if c.channel not in connected)
    return CalibrationDone(calibration, None, None, _found(calibration, before), missing)


def store(done: CalibrationDone, *, folder: Path) -> CalibrationDone:
    """Write the calibration under its rig's serial number; the one before is kept beside it."""
    return replace(done, file=save_calibration(done.calibration, folder=folder))


def keep_points(points: Sequence[Measured], *, folder: Path, uid: str, when: datetime) -> Path:
    """Write the points next to the calibrations, so that no typed reading is lost if the calibration fails."""
    return write_points(folder / "points" / f"{uid or 'unknown'}-{when:%Y%m%d-%H%M%S}.csv", points)


def _references(
    points: Sequence[Measured], order: CalibrationOrder, before: Calibration | None
) -> tuple[FloatArray, FloatArray]:
    """Return the reference volts (n,) of the points and their covariance (n, n)."""
    if order.reference == "monitor":
        nodes = [p.node_v for p in points]
        if any(v is None for v in nodes):
            raise CalibrationError(
                "The rig's second converter gives no reading.", next_step="check that it is fitted"
            )
        own = before.monitor if before else None
        return monitor_volts(np.array(nodes, np.float64), own, n_readings=MONITOR_READINGS)
    if order.meter is None:
        raise CalibrationError(
            "The meter's accuracy is missing.", next_step="add --meter, for example --meter 0.05%+3"
        )
    volts = np.array([p.reading_v for p in points], np.float64)
    return volts, meter_covariance(volts, order.meter)


def _connected(points: Sequence[Measured]) -> set[int]:
    codes = codes_of(points)
    found = {c for c in range(codes.shape[1]) if np.ptp(codes[:, c]) >= LEAST_RANGE * CODES}
    if not found:
        raise CalibrationError(
            "No channel follows the voltages.", seen=f"{len(points)} points",
            limit=f"codes over {100 * LEAST_RANGE:.0f} % of the range",
            next_step="put signal A, signal B and supply lead together on the source, its ground on sensor ground",
        )  # fmt: skip
    return found


def _kind(channels: Sequence[ChannelCalibration]) -> str:
    bent = any(c.linearity and c.linearity.method != "nominal" for c in channels)
    return "line+linearity" if bent else "line"


def _channel(
    points: Sequence[Measured], volts: FloatArray, cov: FloatArray, nominal: ChannelCalibration, chip: str
) -> ChannelCalibration:
    c = nominal.channel
    typed = tuple(
        CalibrationPoint(p.codes[c], float(v), p.u_codes[c], p.noise[c])
        for p, v in zip(points, volts, strict=True)
    )
    ready = prepare(typed, cov_v=cov, linearity=nominal.linearity)
    refuse_mistakes(ready, nominal=nominal, chip=chip, typed=typed)
    return fit_channel(c, typed, cov_v=cov, chip=chip)


def _temperature(points: Sequence[Measured], order: CalibrationOrder) -> float | None:
    seen = [p.temperature_c for p in points if p.temperature_c is not None]
    return order.temperature_c if order.temperature_c is not None else float(np.mean(seen)) if seen else None


def _monitor(
    points: Sequence[Measured],
    volts: FloatArray,
    cov: FloatArray,
    order: CalibrationOrder,
    before: Calibration | None,
) -> ChannelCalibration | None:
    """Return the monitor's own calibration: a new one where it read along with the meter, else the stored one."""
    nodes = [p.node_v for p in points]
    if order.reference == "meter" and all(v is not None for v in nodes):
        return fit_monitor(np.array(nodes, np.float64), volts, cov_v=cov)
    return before.monitor if before else None


def _found(calibration: Calibration, before: Calibration | None) -> tuple[Found, ...]:
    own, old = calibration.channels[0], before.channels[0] if before else None
    return tuple(
        Found(v, None if old is None else code_volts(c, old) - v, code_volts(c, own) - v)
        for c, v in own.points
    )


def take_with_monitor(
    client: RigClient,
    *,
    n: int,
    stop: Callable[[], bool],
    said: Callable[[str], None],
    before: Calibration | None,
    tries: int = 600,
) -> list[Measured]:
    """Collect n points while the operator turns the voltage in steps: each steady, new one counts.

    Raises CalibrationError where the monitor has no calibration of its own.
    """
    hookup, kept = calibration_hookup(client), list[Measured]()
    for _ in range(tries):
        if len(kept) >= n or stop():
            break
        point = measure(client, hookup=hookup)
        value = _by_monitor(point, before)
        if point.steady and all(abs(value - (p.reading_v or 0.0)) >= NEW_POINT_V for p in kept):
            kept.append(replace(point, reading_v=value))
            said(f"{len(kept)} of {n}: {value:.4f} V kept. Turn to another voltage.")
    return kept


def _by_monitor(point: Measured, before: Calibration | None) -> float:
    volts = monitor_volts(np.array([point.node_v or 0.0]), before.monitor if before else None)[0]
    if point.node_v is None:
        raise CalibrationError(
            "This rig has no second converter.", next_step="use a meter: --reference meter"
        )
    return float(volts[0])
