"""Bytes from the board in, frozen events out. No input or output of its own, no clock, no loop per record.

Whatever way the bytes are cut into pieces, the same events come out in the same order; only how many records
stand together in one `Records` hangs on the pieces.
"""

from __future__ import annotations

from dataclasses import dataclass

from sweepboard import wire
from sweeprig.link import frames, payloads, text
from sweeprig.link.messages import BadFrame, BoardText, Message, Records

_BLOCK = 1 << 20  # bytes handled at once, so that a long journal is not held twice


@dataclass
class Counts:
    """What a decoder has seen so far."""

    n_bytes: int = 0
    n_messages: int = 0  # good ones, of any kind
    n_bad: int = 0  # runs that were neither a message nor text
    n_sequence_lost: int = 0  # messages missing by their sequence numbers
    n_sequence_restarts: int = 0  # jumps of half the range or more: the board began again


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
            runs = bytes(self._pending[:last_zero]).split(b"\0")
            del self._pending[: last_zero + 1]
            events = self._end_overlong(runs) + self._runs(runs)
        return events + self._tail()

    def _end_overlong(self, runs: list[bytes]) -> list[Message]:
        """Take the end of a run that was too long off the first of `runs`."""
        if not self._overlong:
            return []
        n_bytes, self._overlong = self._overlong + len(runs.pop(0)), 0
        return [self._bad(n_bytes, "length")]

    def _tail(self) -> list[Message]:
        """Handle what is behind the last zero: text lines go out, a run without end is given up."""
        events: list[Message] = []
        if self._pending and not self._overlong:
            lines, n_bytes = text.leading_lines(bytes(self._pending))
            events += [BoardText(line) for line in lines]
            del self._pending[:n_bytes]
        if self._overlong or len(self._pending) > frames.MAX_RUN:
            self._overlong += len(self._pending)
            self._pending.clear()
        return events

    # --- from runs to events, in the order of the stream

    def _runs(self, runs: list[bytes]) -> list[Message]:
        """Handle runs one by one; stretches of records between other messages go out together."""
        events: list[Message] = []
        packets: list[bytes] = []
        for run in runs:
            message = frames.opened(run) if run else None
            if message is not None and frames.holds_records(message, self._protocol):
                packets.append(message)
            elif run:
                events += self._records(packets)
                packets = []
                events += self._not_a_message(run) if message is None else self._message(message, len(run))
        return events + self._records(packets)

    def _records(self, packets: list[bytes]) -> list[Message]:
        """Return the records of some messages, all RECORDS and one after another."""
        if not packets:
            return []
        headers = [frames.HEADER.unpack_from(packet) for packet in packets]
        self._count_sequence([sequence for _, _, sequence, _ in headers])
        index = frames.record_index(packets, self._unwrap([at for *_, at in headers]))
        self._last_index = int(index[-1])
        return [Records.of_bytes(b"".join([packet[frames.PAYLOAD] for packet in packets]), index)]

    def _message(self, message: bytes, n_bytes: int) -> list[Message]:
        """Handle one whole message that is not plain RECORDS, out of a run of `n_bytes`."""
        kind, protocol, sequence, wire_index = frames.HEADER.unpack_from(message)
        if protocol != self._protocol:
            return [self._bad(n_bytes, "protocol", protocol)]
        if kind not in payloads.KINDS:
            return [self._bad(n_bytes, "kind")]
        self._count_sequence([sequence])
        index = self._last_index
        if kind in payloads.PLACED:
            (index,) = self._unwrap([wire_index])
        payload = message[frames.PAYLOAD]
        events = None if kind == wire.RECORDS else payloads.events_of(kind, index, payload)
        return [self._bad(len(payload), "payload")] if events is None else events

    def _not_a_message(self, run: bytes) -> list[Message]:
        """Handle a run that holds no message: text or garbage."""
        lines, n_bytes = text.leading_lines(run)
        events: list[Message] = [BoardText(line) for line in lines]
        run = run[n_bytes:]
        if not run:
            return events
        if text.is_text(run):
            return events + [BoardText(line) for line in text.lines_of(run)]
        message = frames.opened(run)  # text without a zero behind it may stand before a frame
        if message is None:
            return [*events, self._bad(len(run), frames.fault(run))]
        return events + self._runs([run])

    # --- counting

    def _bad(self, n_bytes: int, why: str, protocol: int | None = None) -> BadFrame:
        self.counts.n_bad += 1
        return BadFrame(n_bytes, why, protocol)

    def _unwrap(self, wire_index: list[int]) -> list[int]:
        """Return u32 indices as the nearest ones to what came before."""
        index = []
        last = self._last_index
        for here in wire_index:
            last += ((here - last + 0x8000_0000) & 0xFFFF_FFFF) - 0x8000_0000
            index.append(last)
        self._last_index = last
        return index

    def _count_sequence(self, sequence: list[int]) -> None:
        """Count the messages that are missing between those that came."""
        counts = self.counts
        counts.n_messages += len(sequence)
        last = sequence[0] - 1 if self._last_sequence is None else self._last_sequence
        for here in sequence:
            missing = (here - last - 1) & 0xFFFF
            if missing >= 0x8000:
                counts.n_sequence_restarts += 1
            else:
                counts.n_sequence_lost += missing
            last = here
        self._last_sequence = last
