"""A case of somebody else's population as a capture or a table, with the calibration that a bench would have made."""

from __future__ import annotations

import importlib
import sys
import tempfile
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np

from sweepboard import wire
from sweeprig.bench.review.review import Choices, review_capture, review_csv
from sweeprig.calibration.fit import CalibrationPoint, fit_channel, meter_covariance
from sweeprig.calibration.model import Calibration, Meter
from sweeprig.capture.model import Capture, Hookup, Starts, SweepSetup
from sweeprig.frontend import front_end
from sweeprig.judge.outcome import Outcome
from sweeprig.link.messages import Records

POINTS_V = (0.3, 1.4, 2.5, 3.6, 4.7)  # at the sensor, of the calibration of a full build
METER = Meter(percent_of_reading=0.05, counts=3.0, count_v=0.001)
PROFILES = {
    "half": "two-tracks-half-scale",
    "opposed": "two-tracks-opposed",
    "parallel": "two-tracks-parallel",
    "offset": "two-tracks-parallel",
    "ratio": "two-tracks-parallel",
    "mV": "two-tracks-parallel",
}


def population_of(where: str) -> ModuleType:
    """Return the package at a path, or of an import name."""
    path = Path(where)
    if path.is_dir():
        sys.path.insert(0, str(path.resolve().parent))
        where = path.name
    return importlib.import_module(where)


def review(case: Any) -> Outcome:
    """Judge one case as its rig, or as a table from elsewhere."""
    profile = next(
        (p for word, p in PROFILES.items() if word in case.truth.tracks), "adjustable-potentiometer"
    )
    if case.source == "table":
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "case.csv"
            path.write_text(case.csv_text)
            return review_csv(path, Choices(profile=profile, starts=Starts(case.starts)))
    capture = _capture(case, profile)
    calibration = _calibration(case) if case.build == "full" else None
    return review_capture(capture, Choices(calibration=calibration))


def _capture(case: Any, profile: str) -> Capture:
    n, end = len(case.sums), front_end(case.build)
    hookup = "powered" if case.build == "plain" else case.hookup  # a plain build is never tapped
    powered = hookup == "powered"
    flags = (wire.FLAG_SUPPLY_ON if powered else 0) | (
        wire.FLAG_BURDEN_ON if powered and end.burden_ohm else 0
    )
    records = Records(
        np.arange(n, dtype=np.int64), case.sums, case.mins, case.maxs,
        np.full(n, wire.NO_POSITION, np.uint16), np.full(n, flags, np.uint16),
    )  # fmt: skip
    return Capture(
        records=records,
        rig={"build": case.build, "chip": case.chip, "uid": "0", "capabilities": list(end.capabilities)},
        setup=SweepSetup(hookup=Hookup(hookup), starts=Starts(case.starts), profile=profile),
        created="2000-01-01T00:00:00+00:00",
        window=case.window,
        conversion_hz=case.conversion_hz,
    )


def _calibration(case: Any) -> Calibration:
    """Five points read with a good meter, the converter's own table saying what codes they gave."""
    rng = np.random.default_rng(case.seed)
    gain, zero = 1 + rng.uniform(-1, 1) * METER.percent_of_reading / 100, rng.uniform(-1, 1) * METER.counts
    true = np.array(POINTS_V)
    shown = np.round(true * gain / METER.count_v + zero * 0.8) * METER.count_v
    cov = meter_covariance(shown, METER)
    channels = []
    for k in range(3):
        codes = _mean_codes(case.transfer, true * case.divider[k], rng)
        points = tuple(CalibrationPoint(float(c), float(v), 0.02) for c, v in zip(codes, shown, strict=True))
        channels.append(fit_channel(k, points, cov_v=cov, chip=case.chip))
    return Calibration("line+linearity", "0", case.build, case.chip, tuple(channels), meter=METER)


def _mean_codes(transfer: np.ndarray, pin_v: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Mean codes of the thresholds `transfer` (4096,) at steady pin volts with one code of noise."""
    sd = (transfer[-1] - transfer[1]) / transfer.size
    noisy = pin_v[:, None] + rng.normal(0.0, sd, (pin_v.size, 4000))
    return np.asarray((np.searchsorted(transfer[1:], noisy, side="right")).mean(axis=1))
