"""A trim from plain data of unknown origin: every type and every number is looked at. ValueError names the key."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from sweeprig.link.clean import clean_plain, clean_text, is_number, is_whole
from sweeprig.trim.model import ChannelTrim, FloatArray, Line, Linearity, Meter, Trim

_CHANNELS = 3
_MOST_ITEMS = 1 << 16  # of a list: a converter has 4096 codes, a trim some dozens of points
_METER_TEXTS = ("name", "serial", "certificate")
_METER_NUMBERS = ("percent_of_reading", "counts", "count_v", "range_v")
_WORDS = ("kind", "rig_uid", "build", "chip")
_TEXTS = ("made_at", "operator", "reference", "smps_mode", "notes")
_OTHERS = ("channels", "meter", "temperature_c", "max_age_days", "verified", "monitor", "remarks")


def read_trim(data: Mapping[str, Any]) -> Trim:
    """Return the trim in plain data without its heading."""
    _known(data, (*_WORDS, *_TEXTS, *_OTHERS), "trim")
    channels = tuple(_channel(own, f"channels.{i}") for i, own in enumerate(_list(data, "channels")))
    if [own.channel for own in channels] != list(range(_CHANNELS)):
        raise ValueError(f"channels are {[own.channel for own in channels]}, not 0, 1, 2")
    words: dict[str, Any] = {key: _text(data, key) for key in _WORDS}
    more: dict[str, Any] = {key: _text(data, key) for key in _TEXTS if key in data}
    if "max_age_days" in data:
        more["max_age_days"] = _number(data, "max_age_days", least=0.0)
    if data.get("temperature_c") is not None:
        more["temperature_c"] = _number(data, "temperature_c")
    meter, monitor = data.get("meter"), data.get("monitor")
    return Trim(
        **words,
        **more,
        channels=channels,
        meter=None if meter is None else _meter(_object(meter, "meter")),
        monitor=None if monitor is None else _channel(monitor, "monitor"),
        verified=tuple(clean_plain(_object(item, "verified")) for item in _list(data, "verified", ())),
        remarks=tuple(_text({"remarks": item}, "remarks") for item in _list(data, "remarks", ())),
    )


def _channel(data: Any, where: str) -> ChannelTrim:
    own = _object(data, where)
    if not is_whole(own["channel"], 0, 0xFFFF):
        raise ValueError(f"{where}.channel is {own['channel']!r:.60}")
    bent = own.get("linearity")
    return ChannelTrim(
        channel=own["channel"],
        line=_line(_object(own["line"], f"{where}.line")),
        linearity=None if bent is None else _linearity(_object(bent, f"{where}.linearity")),
        u_linearity_lsb=_number(own, "u_linearity_lsb", least=0.0) if "u_linearity_lsb" in own else 0.0,
        points=_pairs(own, "points"),
        u_at=_pairs(own, "u_at"),
        residuals_v=tuple(_numbers(own, "residuals_v", ())),
        u_residuals_v=tuple(_numbers(own, "u_residuals_v", ())),
        chi2=None if own.get("chi2") is None else _number(own, "chi2"),
        widened=_number(own, "widened") if "widened" in own else 1.0,
    )


def _line(data: Mapping[str, Any]) -> Line:
    _known(data, ("offset_v", "gain_v", "var_offset", "var_gain", "cov", "dof"), "line")
    gain = _number(data, "gain_v")
    if gain == 0:
        raise ValueError("gain_v is 0")
    return Line(
        offset_v=_number(data, "offset_v"),
        gain_v=gain,
        var_offset=_number(data, "var_offset", least=0.0),
        var_gain=_number(data, "var_gain", least=0.0),
        cov=_number(data, "cov"),
        dof=math.inf if data.get("dof") is None else _number(data, "dof", least=0.0),
    )


def _linearity(data: Mapping[str, Any]) -> Linearity:
    _known(data, ("code", "error_lsb", "u_lsb", "method"), "linearity")
    code, error = (_array(data, key) for key in ("code", "error_lsb"))
    if code.size != error.size or not code.size or (np.diff(code) <= 0).any():
        raise ValueError(f"linearity has {code.size} codes, rising or not, for {error.size} errors")
    return Linearity(code, error, _number(data, "u_lsb", least=0.0), _text(data, "method"))


def _meter(data: Mapping[str, Any]) -> Meter:
    _known(data, (*_METER_TEXTS, *_METER_NUMBERS), "meter")
    texts: dict[str, Any] = {key: _text(data, key) for key in _METER_TEXTS if key in data}
    numbers: dict[str, Any] = {key: _number(data, key, least=0.0) for key in _METER_NUMBERS if key in data}
    return Meter(**texts, **numbers)


# --- single values


def _known(data: Mapping[str, Any], keys: tuple[str, ...], where: str) -> None:
    strange = [key for key in data if key not in keys]
    if strange:
        raise ValueError(f"{where} has an unknown key {strange[0]!r:.60}")


def _object(value: Any, key: str) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise ValueError(f"{key} is {value!r:.60}, not an object")
    return value


def _list(data: Mapping[str, Any], key: str, default: Any = None) -> list[Any] | tuple[Any, ...]:
    value = data.get(key, default)
    if not isinstance(value, list | tuple) or len(value) > _MOST_ITEMS:
        raise ValueError(f"{key} is {value!r:.60}, not a list of at most {_MOST_ITEMS}")
    return value


def _text(data: Mapping[str, Any], key: str) -> str:
    value = data[key]
    if not isinstance(value, str):
        raise ValueError(f"{key} is {value!r:.60}, not text")
    return clean_text(value)


def _number(data: Mapping[str, Any], key: str, *, least: float = -math.inf) -> float:
    value = data[key]
    if not is_number(value) or value < least:
        raise ValueError(f"{key} is {value!r:.60}, not a number" + (f" from {least:g}" if least == 0 else ""))
    return float(value)


def _numbers(data: Mapping[str, Any], key: str, default: Any = None) -> list[float]:
    return [_number({key: item}, key) for item in _list(data, key, default)]


def _array(data: Mapping[str, Any], key: str) -> FloatArray:
    return np.asarray(_numbers(data, key), np.float64)


def _pairs(data: Mapping[str, Any], key: str) -> tuple[tuple[float, float], ...]:
    pairs = [_numbers({key: pair}, key) for pair in _list(data, key, ())]
    if any(len(pair) != 2 for pair in pairs):
        raise ValueError(f"{key} holds something other than pairs")
    return tuple((a, b) for a, b in pairs)
