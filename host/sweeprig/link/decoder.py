"""Bytes from the board in, frozen events out. No input or output of its own, no clock, no loop per record.

Whatever way the bytes are cut into pieces, the same events come out in the same order; only how many records
stand together in one `Records` hangs on the pieces.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.link import payloads, text
from sweeprig.link.cobs_batch import ByteArray, IndexArray, unstuff_runs
from sweeprig.link.messages import BadFrame, BoardText, Message, Records

_CRC_RESIDUE = 0x2144DF1C  # CRC-32 of any message with its own CRC behind it, little-endian (ISO 3309)
_MIN_MESSAGE = wire.HEADER_SIZE + wire.CRC_SIZE
_MAX_RUN = wire.stuffed_size(wire.MAX_MESSAGE)
_BLOCK = 1 << 20  # bytes handled at once: keeps the arrays inside the processor's cache
_PLACED = np.isin(np.arange(256), list(payloads.PLACED))
_KNOWN = np.isin(np.arange(256), list(payloads.KINDS))
_HEADER = np.dtype([("kind", "u1"), ("protocol", "u1"), ("sequence", "<u2"), ("index", "<u4")])


@dataclass
class Counts:
    """What a decoder has seen so far."""

    n_bytes: int = 0
    n_messages: int = 0  # good ones, of any kind
    n_bad: int = 0  # runs that were neither a message nor text
    n_sequence_lost: int = 0  # messages missing by their sequence numbers
    n_sequence_restarts: int = 0  # jumps of half the range or more: the board began again


@dataclass(frozen=True)
class _Messages:
    """The good messages of a block: header fields, and where each payload stands in `data`."""

    run: IndexArray  # which run of the block each one was
    header: NDArray[np.void]  # _HEADER
    start: IndexArray  # of the payload
    end: IndexArray
    data: ByteArray


class Decoder:
    """Feed it bytes as they come; it keeps what is not complete yet."""

    def __init__(self, protocol: int = wire.PROTOCOL) -> None:
        self.counts = Counts()
        self._protocol = protocol
        self._pending = bytearray()
        self._overlong = 0  # bytes of a run that is too long to be ours and has not ended
        self._last_index = 0
        self._last_sequence: int | None = None

    def feed(self, data: bytes | bytearray | memoryview) -> list[Message]:
        """Take bytes; return the events that they complete."""
        self.counts.n_bytes += len(data)
        if len(data) <= _BLOCK:
            return self._feed_block(bytes(data))
        events: list[Message] = []
        view = memoryview(data)
        for at in range(0, len(view), _BLOCK):
            events += self._feed_block(bytes(view[at : at + _BLOCK]))
        return events

    def flush_text(self) -> list[Message]:
        """Return text that waits for its line end, such as a prompt. An unfinished frame stays."""
        if not text.is_text(bytes(self._pending)):
            return []
        lines = text.lines_of(bytes(self._pending))
        self._pending.clear()
        return [BoardText(line) for line in lines]

    def restart_index(self) -> None:
        """Say that the board begins again at record index 0."""
        self._last_index = 0

    # --- cutting the stream into runs

    def _feed_block(self, block: bytes) -> list[Message]:
        self._pending += block
        last_zero = self._pending.rfind(0)
        events: list[Message] = []
        if last_zero >= 0:
            whole = bytes(self._pending[: last_zero + 1])
            del self._pending[: last_zero + 1]
            events = self._whole_runs(whole)
        return events + self._tail()

    def _whole_runs(self, whole: bytes) -> list[Message]:
        """Handle bytes that end with a zero."""
        chunk = np.frombuffer(whole, np.uint8)
        zeros = np.flatnonzero(chunk == 0)
        starts = np.concatenate(([0], zeros[:-1] + 1))
        events: list[Message] = []
        if self._overlong:
            events.append(self._bad(self._overlong + int(zeros[0]), "length"))
            self._overlong = 0
            starts, zeros = starts[1:], zeros[1:]
        some = zeros > starts
        return events + self._runs(chunk, starts[some], zeros[some])

    def _tail(self) -> list[Message]:
        """Handle what stands behind the last zero: text lines go out, a run without end is given up."""
        events: list[Message] = []
        if self._pending and not self._overlong:
            lines, n_bytes = text.leading_lines(bytes(self._pending))
            events += [BoardText(line) for line in lines]
            del self._pending[:n_bytes]
        if self._overlong or len(self._pending) > _MAX_RUN:
            self._overlong += len(self._pending)
            self._pending.clear()
        return events

    # --- from runs to messages

    def _runs(self, chunk: ByteArray, starts: IndexArray, ends: IndexArray) -> list[Message]:
        if not starts.size:
            return []
        fits = ends - starts <= _MAX_RUN
        unstuffed = unstuff_runs(chunk, starts, np.where(fits, ends, starts))
        candidates = np.flatnonzero(
            unstuffed.good & ~unstuffed.long_code & (ends - starts > _MIN_MESSAGE) & fits
        )
        view = unstuffed.data.data
        bounds = zip((starts[candidates] + 1).tolist(), ends[candidates].tolist(), strict=True)
        crcs = np.fromiter((zlib.crc32(view[a:b]) for a, b in bounds), np.uint32, candidates.size)
        run = candidates[crcs == _CRC_RESIDUE]
        messages = self._messages(unstuffed.data, run, starts[run] + 1, ends[run])
        return self._in_order(messages, chunk, starts, ends)

    def _messages(self, data: ByteArray, run: IndexArray, starts: IndexArray, ends: IndexArray) -> _Messages:
        rows = (
            np.lib.stride_tricks.sliding_window_view(data, wire.HEADER_SIZE)[starts] if run.size else data[:0]
        )
        header = np.ascontiguousarray(rows).reshape(-1).view(_HEADER)
        ours = (header["protocol"] == self._protocol) & _KNOWN[header["kind"]]
        run, header, starts, ends = run[ours], header[ours], starts[ours], ends[ours]
        return _Messages(
            run=run,
            header=header,
            start=starts + wire.HEADER_SIZE,
            end=ends - wire.CRC_SIZE,
            data=data,
        )

    # --- from messages to events, in the order of the stream

    def _in_order(
        self, messages: _Messages, chunk: ByteArray, starts: IndexArray, ends: IndexArray
    ) -> list[Message]:
        """Go through what is not RECORDS one by one; stretches of RECORDS between them go out together."""
        kinds = messages.header["kind"]
        plain = np.zeros(starts.size, np.bool_)
        plain[messages.run[(kinds == wire.RECORDS) & _whole_records(messages)]] = True
        which = np.full(starts.size, -1, np.intp)
        which[messages.run] = np.arange(messages.run.size)
        events: list[Message] = []
        done = 0
        for special in [*np.flatnonzero(~plain).tolist(), starts.size]:
            if special > done:
                events.append(self._records(messages, which[done], which[special - 1] + 1))
            if special < starts.size:
                raw = chunk[starts[special] : ends[special]].tobytes()
                events += self._single(messages, int(which[special]), raw)
            done = special + 1
        return events

    def _records(self, messages: _Messages, first: int, last: int) -> Records:
        """Return the records of the messages first..last-1, all RECORDS and one after another."""
        part = slice(first, last)
        header = messages.header[part]
        self._count_sequence(header["sequence"])
        packet_index = self._unwrap(header["index"])
        start, end = messages.start[part], messages.end[part]
        counts = (end - start) // wire.RECORD_SIZE
        total = int(counts.sum())
        before = np.cumsum(counts) - counts
        index = np.arange(total) + np.repeat(packet_index - before, counts)
        if total:
            self._last_index = int(index[-1])
        return Records.of_bytes(_payloads(messages.data, start, end), index)

    def _single(self, messages: _Messages, which: int, raw: bytes) -> list[Message]:
        """Handle one run that is not plain RECORDS."""
        if which < 0:
            return self._not_a_message(raw)
        header = messages.header[which]
        payload = messages.data[messages.start[which] : messages.end[which]].tobytes()
        return self._message(int(header["kind"]), int(header["sequence"]), int(header["index"]), payload)

    def _message(self, kind: int, sequence: int, wire_index: int, payload: bytes) -> list[Message]:
        """Handle one good message on its own."""
        self._count_sequence(np.array([sequence], np.uint16))
        index = self._last_index
        if kind in payloads.PLACED:
            index = int(self._unwrap(np.array([wire_index], np.uint32))[0])
        if kind == wire.RECORDS:
            if not payload or len(payload) % wire.RECORD_SIZE:
                return [self._bad(len(payload), "payload")]
            self._last_index = index + len(payload) // wire.RECORD_SIZE - 1
            return [Records.of_bytes(payload, np.arange(index, self._last_index + 1))]
        events = payloads.events_of(kind, index, payload)
        return [self._bad(len(payload), "payload")] if events is None else events

    def _not_a_message(self, run: bytes) -> list[Message]:
        """Handle a run that did not pass in the batch: text, a long block, another protocol, garbage."""
        lines, n_bytes = text.leading_lines(run)
        events: list[Message] = [BoardText(line) for line in lines]
        run = run[n_bytes:]
        if not run:
            return events
        if text.is_text(run):
            return events + [BoardText(line) for line in text.lines_of(run)]
        if len(run) > _MAX_RUN:
            return [*events, self._bad(len(run), "length")]
        return events + self._slow_way(run)

    def _slow_way(self, run: bytes) -> list[Message]:
        """Open one run with the wire's own code."""
        opened = wire.open_message(run)
        if opened is None:
            message = wire.unstuff(run)
            fits = message is not None and _MIN_MESSAGE <= len(message) <= wire.MAX_MESSAGE
            why = "stuffing" if message is None else "crc" if fits else "length"
            return [self._bad(len(run), why)]
        kind, protocol, sequence, wire_index, payload = opened
        if protocol != self._protocol:
            return [self._bad(len(run), "protocol", protocol)]
        if kind not in payloads.KINDS:
            return [self._bad(len(run), "kind")]
        return self._message(kind, sequence, wire_index, payload)

    # --- counting

    def _bad(self, n_bytes: int, why: str, protocol: int | None = None) -> BadFrame:
        self.counts.n_bad += 1
        return BadFrame(n_bytes, why, protocol)

    def _unwrap(self, wire_index: NDArray[np.uint32]) -> NDArray[np.int64]:
        """Return u32 indices as the nearest ones to what came before."""
        before = np.concatenate((np.array([self._last_index & 0xFFFFFFFF], np.uint32), wire_index[:-1]))
        steps = (wire_index - before).astype(np.uint32).view(np.int32)
        index: NDArray[np.int64] = self._last_index + np.cumsum(steps, dtype=np.int64)
        self._last_index = int(index[-1])
        return index

    def _count_sequence(self, sequence: NDArray[np.uint16]) -> None:
        """Count the messages that are missing between those that came."""
        self.counts.n_messages += int(sequence.size)
        first = int(sequence[0]) - 1 if self._last_sequence is None else self._last_sequence
        before = np.concatenate((np.array([first & 0xFFFF], np.uint16), sequence[:-1]))
        missing = (sequence - before - np.uint16(1)).astype(np.uint16)
        jumps = missing >= 0x8000
        self.counts.n_sequence_restarts += int(np.count_nonzero(jumps))
        self.counts.n_sequence_lost += int(missing[~jumps].sum(dtype=np.int64))
        self._last_sequence = int(sequence[-1])


def _whole_records(messages: _Messages) -> NDArray[np.bool_]:
    n_bytes = messages.end - messages.start
    whole: NDArray[np.bool_] = (n_bytes > 0) & (n_bytes % wire.RECORD_SIZE == 0)
    return whole


def _payloads(data: ByteArray, start: IndexArray, end: IndexArray) -> ByteArray:
    """Return the payloads one after another."""
    sizes = end - start
    if (sizes == sizes[0]).all():
        return np.lib.stride_tricks.sliding_window_view(data, int(sizes[0]))[start].reshape(-1)
    view = data.data
    pieces = [view[a:b] for a, b in zip(start.tolist(), end.tolist(), strict=True)]
    return np.frombuffer(b"".join(pieces), np.uint8)
