"""Bytes from the board in, messages (frozen dataclasses) out. No I/O of its own, no clock, no loop over single records.

However the bytes are split, the same messages come out in the same order; only how the records are grouped into
`Records` objects depends on where the bytes were split.

A run is the bytes between two zero bytes: one frame of the wire, a text, or garbage. The packet is what an intact frame
holds.
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
    n_bad: int = 0  # runs (bytes between two zeros) that were neither a packet nor text
    n_sequence_lost: int = 0  # messages missing by their sequence numbers
    n_sequence_restarts: int = 0  # jumps of half the range or more: the board began again


class Decoder:
    """Turns bytes into messages. Pass bytes to `feed` as they come; it holds back what is not complete yet."""

    def __init__(self, protocol: int = wire.PROTOCOL) -> None:
        self.counts = Counts()
        self._protocol = protocol
        self._pending = bytearray()
        self._overlong = 0  # bytes of a run that is too long to be ours and has not ended
        self._last_index = 0
        self._last_sequence: int | None = None

    def feed(self, data: bytes | bytearray | memoryview) -> list[Message]:
        """Take bytes; return the messages that they complete."""
        self.counts.n_bytes += len(data)
        if len(data) <= _BLOCK:
            return self._feed_block(bytes(data))
        messages: list[Message] = []
        view = memoryview(data)
        for at in range(0, len(view), _BLOCK):
            messages += self._feed_block(bytes(view[at : at + _BLOCK]))
        return messages

    def flush_text(self) -> list[Message]:
        """Return text without a line end, such as a prompt. An unfinished frame waits until it is complete."""
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
        messages: list[Message] = []
        if last_zero >= 0:
            runs = bytes(self._pending[:last_zero]).split(b"\0")
            del self._pending[: last_zero + 1]
            messages = self._end_overlong(runs) + self._runs(runs)
        return messages + self._tail()

    def _end_overlong(self, runs: list[bytes]) -> list[Message]:
        """Drop the first of `runs` where it is the end of a run that was too long; return the error for it."""
        if not self._overlong:
            return []
        n_bytes, self._overlong = self._overlong + len(runs.pop(0)), 0
        return [self._bad(n_bytes, "length")]

    def _tail(self) -> list[Message]:
        """Handle what comes after the last zero: whole lines of text go out, a run that is too long is dropped."""
        messages: list[Message] = []
        if self._pending and not self._overlong:
            lines, n_bytes = text.leading_lines(bytes(self._pending))
            messages += [BoardText(line) for line in lines]
            del self._pending[:n_bytes]
        if self._overlong or len(self._pending) > frames.MAX_RUN:
            self._overlong += len(self._pending)
            self._pending.clear()
        return messages

    # --- from runs to messages, in the order of the stream

    def _runs(self, runs: list[bytes]) -> list[Message]:
        """Handle runs one by one; the records between two other messages go out as one `Records`."""
        messages: list[Message] = []
        packets: list[bytes] = []
        for run in runs:
            packet = frames.opened(run) if run else None
            if packet is not None and frames.holds_records(packet, self._protocol):
                packets.append(packet)
            elif run:
                messages += self._records(packets)
                packets = []
                messages += self._no_packet(run) if packet is None else self._packet(packet, len(run))
        return messages + self._records(packets)

    def _records(self, packets: list[bytes]) -> list[Message]:
        """Return the records of some packets, all RECORDS and one after another."""
        if not packets:
            return []
        headers = [frames.HEADER.unpack_from(packet) for packet in packets]
        self._count_sequence([sequence for _, _, sequence, _ in headers])
        index = frames.record_index(packets, self._unwrap([at for *_, at in headers]))
        self._last_index = int(index[-1])
        return [Records.of_bytes(b"".join([packet[frames.PAYLOAD] for packet in packets]), index)]

    def _packet(self, packet: bytes, n_bytes: int) -> list[Message]:
        """Handle one intact packet that is not plain RECORDS, out of a run of `n_bytes`."""
        kind, protocol, sequence, wire_index = frames.HEADER.unpack_from(packet)
        if protocol != self._protocol:
            return [self._bad(n_bytes, "protocol", protocol)]
        if kind not in payloads.KINDS:
            return [self._bad(n_bytes, "kind")]
        self._count_sequence([sequence])
        index = self._last_index
        if kind in payloads.PLACED:
            (index,) = self._unwrap([wire_index])
        payload = packet[frames.PAYLOAD]
        messages = None if kind == wire.RECORDS else payloads.messages_of(kind, index, payload)
        return [self._bad(len(payload), "payload")] if messages is None else messages

    def _no_packet(self, run: bytes) -> list[Message]:
        """Handle a run that holds no intact packet: text or garbage."""
        lines, n_bytes = text.leading_lines(run)
        messages: list[Message] = [BoardText(line) for line in lines]
        run = run[n_bytes:]
        if not run:
            return messages
        if text.is_text(run):
            return messages + [BoardText(line) for line in text.lines_of(run)]
        packet = frames.opened(run)  # text without a zero behind it may stand before a frame
        if packet is None:
            return [*messages, self._bad(len(run), frames.fault(run))]
        return messages + self._runs([run])

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
        """Count the packets that are missing between those that came, by their sequence numbers."""
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
