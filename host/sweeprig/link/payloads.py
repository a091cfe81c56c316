"""Packets other than records: payload in, messages out. A payload that does not fit gives None."""

from __future__ import annotations

import json
import struct
from collections.abc import Callable

import numpy as np

from sweepboard import wire
from sweepboard.flash_page import PAGE
from sweeprig.link.clean import clean_plain, is_whole
from sweeprig.link.messages import (
    Gap,
    Hello,
    Histogram,
    Kept,
    Mark,
    Message,
    Reply,
    SlowReading,
    Snapshot,
    Status,
)

Maker = Callable[[int, bytes], list[Message]]


def _json_object(payload: bytes) -> dict[str, object]:
    data = json.loads(payload.decode("utf-8"))
    if not isinstance(data, dict):
        raise ValueError("not a JSON object")
    cleaned: dict[str, object] = clean_plain(data)
    return cleaned


def _hello(_index: int, payload: bytes) -> list[Message]:
    return [Hello(_json_object(payload))]


def _reply(_index: int, payload: bytes) -> list[Message]:
    data = _json_object(payload)
    command_id = data.get("id")
    number = command_id if isinstance(command_id, int) and is_whole(command_id, 0, 0xFFFFFFFF) else -1
    return [Reply(command_id=number, ok=data.get("ok") is True, data=data)]


def _slow(index: int, payload: bytes) -> list[Message]:
    readings = struct.iter_unpack(wire.SLOW_FORMAT, payload)
    return [SlowReading(index, quantity, status, value) for quantity, status, _, value in readings]


def _snapshot(index: int, payload: bytes) -> list[Message]:
    first, trigger, channels, channel, count = struct.unpack_from(wire.SNAPSHOT_FORMAT, payload)
    codes = np.frombuffer(payload, "<u2", offset=wire.SNAPSHOT_SIZE).astype(np.uint16)
    if codes.size != count:
        raise ValueError("count of conversions does not fit the payload")
    return [Snapshot(index, first, trigger, channels, channel, codes)]


def _gap(index: int, payload: bytes) -> list[Message]:
    n_lost, reason, _, _ = struct.unpack(wire.GAP_FORMAT, payload)
    return [Gap(index=index, n_lost=n_lost, reason=reason)]


def _status(index: int, payload: bytes) -> list[Message]:
    fields = struct.unpack(wire.STATUS_FORMAT, payload)
    made, sent, dropped, lost, errors, commands, free, streaming, reset_cause, _ = fields
    return [Status(index, made, sent, dropped, lost, errors, commands, free, bool(streaming), reset_cause)]


def _histogram(_index: int, payload: bytes) -> list[Message]:
    channel, _, first_code, n_windows = struct.unpack_from(wire.HISTOGRAM_FORMAT, payload)
    counts = np.frombuffer(payload, "<u4", offset=wire.HISTOGRAM_SIZE).astype(np.uint32)
    return [Histogram(channel, first_code, n_windows, counts)]


def _mark(index: int, payload: bytes) -> list[Message]:
    button, _, count = struct.unpack(wire.MARK_FORMAT, payload)
    return [Mark(index=index, button=button, count=count)]


def _kept(_index: int, payload: bytes) -> list[Message]:
    if not payload or len(payload) % PAGE:
        raise ValueError("incomplete pages")
    return [Kept(tuple(payload[at : at + PAGE] for at in range(0, len(payload), PAGE)))]


_MAKERS: dict[int, Maker] = {
    wire.HELLO: _hello,
    wire.REPLY: _reply,
    wire.SLOW: _slow,
    wire.SNAPSHOT: _snapshot,
    wire.GAP: _gap,
    wire.STATUS: _status,
    wire.HISTOGRAM: _histogram,
    wire.MARK: _mark,
    wire.KEPT: _kept,
}
KINDS = frozenset(_MAKERS) | {wire.RECORDS}
PLACED = frozenset({wire.RECORDS, wire.SLOW, wire.SNAPSHOT, wire.GAP, wire.STATUS, wire.MARK})
"""Kinds whose record index says something; the others carry whatever the board had at hand."""


def messages_of(kind: int, index: int, payload: bytes) -> list[Message] | None:
    """Return the messages in one packet that is not RECORDS, or None where its payload does not fit.

    `index` is the unwrapped record index.
    """
    try:
        return _MAKERS[kind](index, payload)
    except (
        ValueError,
        struct.error,
        RecursionError,
    ):  # UnicodeDecodeError and JSONDecodeError are ValueErrors
        return None
