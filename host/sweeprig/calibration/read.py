"""A calibration from plain data of unknown origin: each type and number is looked at. ValueError names the key."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import msgspec
import numpy as np

from sweepboard import wire
from sweeprig.calibration.model import Calibration, ChannelCalibration, FloatArray
from sweeprig.calibration.possible import check_possible
from sweeprig.link.clean import clean_text, is_number

_MOST_ITEMS = 1 << 16  # of a list: a converter has 4096 codes, a calibration some dozens of points
_MOST = 1e9  # size of any number: far beyond any rig, and no power of it overflows
ROUNDED = 1.0001  # what rounding may add to a square
_FROM_0 = {"var_offset", "var_gain", "dof", "u_lsb", "u_linearity_lsb", "max_age_days", "percent_of_reading",
           "counts", "count_v", "range_v"}  # fmt: skip


def read_calibration(data: Mapping[str, Any]) -> Calibration:
    """Return the calibration in plain data without its heading."""
    plain = _fit(dict(data), "calibration")
    calibration = msgspec.convert(plain, Calibration, dec_hook=_array)
    _nothing_else(plain, msgspec.to_builtins(calibration, enc_hook=np.ndarray.tolist), "calibration")
    if [own.channel for own in calibration.channels] != list(range(wire.CHANNELS)):
        raise ValueError(f"channels are {[own.channel for own in calibration.channels]}, not 0, 1, 2")
    for own in (*calibration.channels, *([calibration.monitor] if calibration.monitor else [])):
        _check_channel(own)
    check_possible(calibration)
    return calibration


def _array(_: object, value: Any) -> FloatArray:
    return np.asarray(msgspec.convert(value, list[float]), np.float64)


def _fit(value: Any, key: str) -> Any:
    """Return a value with clean text and finite numbers; "dof" None, as JSON has it, is infinite."""
    if isinstance(value, Mapping):
        return {
            clean_text(str(k)): math.inf if (k, v) == ("dof", None) else _fit(v, k) for k, v in value.items()
        }
    if isinstance(value, list | tuple):
        if len(value) > _MOST_ITEMS:
            raise ValueError(f"{key} is a list of {len(value)}, more than {_MOST_ITEMS}")
        return [_fit(item, key) for item in value]
    if isinstance(value, int | float) and not isinstance(value, bool):
        _check_number(value, key)
    return clean_text(value) if isinstance(value, str) else value


def _check_number(value: float, key: str) -> None:
    least, most = 0.0 if key in _FROM_0 else -_MOST, math.inf if key == "dof" else _MOST
    if not is_number(value) or not least <= value <= most:
        raise ValueError(f"{key} is {value!r:.60}, not a number from {least:g} to {most:g}")


def _nothing_else(data: Any, known: Any, where: str) -> None:
    """Raise ValueError for the first key of `data` that the calibration made of it does not have."""
    if isinstance(data, list):
        for item, own in zip(data, known, strict=True):
            _nothing_else(item, own, where)
    for key in data if isinstance(data, dict) else ():
        if key not in known:
            raise ValueError(f"{where} has an unknown key {key!r:.60}")
        _nothing_else(data[key], known[key], key)


def _check_channel(own: ChannelCalibration) -> None:
    if own.line.gain_v <= 0:
        raise ValueError(f"gain_v is {own.line.gain_v:g}, not above 0")
    most = ROUNDED * own.line.var_offset * own.line.var_gain
    if own.line.cov**2 > most:
        raise ValueError(f"cov is {own.line.cov:g}, beyond the {math.sqrt(most):g} that its variances allow")
    bent = own.linearity
    if bent is None:
        return
    if bent.code.ndim != 1 or bent.code.shape != bent.error_lsb.shape or not bent.code.size:
        raise ValueError(f"linearity has {bent.code.shape} codes for {bent.error_lsb.shape} errors")
    if (np.diff(bent.code) <= 0).any():
        raise ValueError("linearity has codes that do not rise")
