"""From windows to packets of records: counted, placed, and dropped only as whole records.

Every window has an index, from 0 at start(). What does not reach the host leaves a hole in the indices and a
GAP message that tells where, how many and why. The gaps go out before the next packet of records.
"""

import struct

from sweepboard import wire
from sweepboard.windows import mean_code

MOST_AT_ONCE = (
    31  # windows taken in one cycle: all that an RP2 board holds, so that none is left to be overwritten
)
FULL = 24
BEHIND = 8  # so many ready ones, and the next cycle comes without a rest
FLUSH_MS = 100  # a packet that is not full goes out after this long
MOST_GAPS = 4  # gaps that wait; further ones are joined to the last


class Counts:
    """What became of the windows of one stream."""

    def __init__(self):
        self.made = 0
        self.sent = 0  # handed to the queue and not taken back
        self.dropped = 0
        self.conversions_lost = 0
        self.conversions_in_error = 0


def flags_of(outputs, fault, button):
    """Return what a record says of the rig: `outputs` are bits OUT_*."""
    flags = 0
    if outputs & wire.OUT_SUPPLY:
        flags = wire.FLAG_SUPPLY_ON
    if outputs & wire.OUT_BURDEN:
        flags |= wire.FLAG_BURDEN_ON
    if outputs & (wire.OUT_BIAS_UP | wire.OUT_BIAS_DOWN):
        flags |= wire.FLAG_BIAS_ON
    if fault:
        flags |= wire.FLAG_SUPPLY_FAULT
    return flags | wire.FLAG_BUTTON if button else flags


class Stream:
    """Takes windows from `source` and queues them in `outbox`. `watchers` look at each window."""

    def __init__(self, source, outbox, clock):
        self.source = source
        self.counts = Counts()
        self.running = False
        self.behind = False  # many windows were ready in the last cycle
        self.index = 0  # of the next window
        self.flags = 0  # set in every record: the rig's state
        self.position = wire.NO_POSITION
        self.watchers = []
        self.message = bytearray(
            wire.HEADER_SIZE + wire.RECORDS_PER_PACKET * wire.RECORD_SIZE + wire.CRC_SIZE
        )
        self._outbox = outbox
        self._clock = clock
        self._take_run = getattr(source, "take_run", None)  # many windows at once, for a source that can
        self._n = 0  # records in the message
        self._last_at = (
            wire.HEADER_SIZE
        )  # where the record taken last stands; a packet that went out leaves it there
        self._first = 0  # index of its first record
        self._began_ms = 0
        self._gaps = []  # [index, windows, reason]
        self._base_lost = 0
        self._base_errors = 0

    def route(self, outbox):
        """Queue in another outbox from now on."""
        self._outbox = outbox

    def start(self):
        """Sample and stream from index 0."""
        self.counts = Counts()
        self.index = self._n = 0
        self._gaps = []
        self._base_lost = getattr(self.source, "conversions_lost", 0)
        self._base_errors = getattr(self.source, "conversions_in_error", 0)
        for watcher in self.watchers:
            watcher.begin()
        self.source.start()
        self.running = True

    def stop(self):
        """Stop sampling; what was taken goes out."""
        if not self.running:
            return
        self.pump()
        self.running = False
        self.source.stop()
        self._close_packet()
        self._send_gaps()
        self.count_conversions()

    def abandon(self):
        """Stop sampling and forget what the host did not take: it is gone."""
        self.running = False
        self.source.stop()
        self.counts.dropped += self._n
        self._n = 0
        taken_back = self._outbox.drop_stream()
        self.counts.sent -= taken_back
        self.counts.dropped += taken_back
        self._gaps = []
        self.count_conversions()

    def count_conversions(self):
        """Return the counts, those that the source keeps brought up to date."""
        counts = self.counts
        counts.conversions_lost = getattr(self.source, "conversions_lost", 0) - self._base_lost
        counts.conversions_in_error = getattr(self.source, "conversions_in_error", 0) - self._base_errors
        return counts

    def last_codes(self):
        """Return the mean code of each channel in the record taken last."""
        at = self._last_at
        channels = range(self.source.channels)
        return [mean_code(self.message, at, c, self.source.window) for c in channels]

    def pump(self):
        """Take the windows that are ready; return how many."""
        source = self.source
        ready = source.poll()
        gap = source.gap()
        if gap:
            self._close_packet()
            self._note_gap(self.index, gap[0], gap[1])
            self.index += gap[0]
        self.behind = ready > BEHIND
        ready = left = min(ready, MOST_AT_ONCE)
        while left:
            # With nearly all buffers full a window that was taken is soon overwritten: then one at a time is looked at.
            n = min(left, wire.RECORDS_PER_PACKET - self._n) if left <= FULL else 1
            self._take(source, n)
            left -= n
        if self._n and self._clock.diff_ms(self._clock.ms(), self._began_ms) >= FLUSH_MS:
            self._close_packet()
        elif self._gaps and not self._n and self._outbox.takes_records():
            self._send_gaps()
        return ready

    def _take(self, source, n):
        """Take `n` windows into the packet."""
        if self._n == 0:
            self._first = self.index
            self._began_ms = self._clock.ms()
        at = wire.HEADER_SIZE + wire.RECORD_SIZE * self._n
        if self._take_run is None:
            self._take_each(source, n, at)
        else:
            self._take_run(self.message, at, n, self.position, self.flags)
            for watcher in self.watchers:
                if watcher.on:
                    watcher.look(self.message, at, n, self.index)
        self._last_at = at + wire.RECORD_SIZE * (n - 1)
        self.index += n
        self.counts.made += n
        self._n += n
        if self._n == wire.RECORDS_PER_PACKET:
            self._close_packet()

    def _take_each(self, source, n, at):
        """Take windows one by one."""
        message, own, position = self.message, self.flags, self.position
        for index in range(self.index, self.index + n):
            flags = source.take(message, at) | own
            struct.pack_into(wire.PLACE_FORMAT, message, at + wire.PLACE_AT, position, flags)
            for watcher in self.watchers:
                if watcher.on:
                    watcher.look(message, at, 1, index)
            at += wire.RECORD_SIZE

    def _close_packet(self):
        """Queue the records at hand, or drop them all and remember where."""
        n = self._n
        if not n:
            return
        self._n = 0
        if self._outbox.takes_records():
            self._send_gaps()
            self._outbox.add_records(self.message, n, self._first)
            self.counts.sent += n
        else:
            self.counts.dropped += n
            self._note_gap(self._first, n, wire.GAP_HOST_SLOW)

    def _note_gap(self, index, n, reason):
        gaps = self._gaps
        if gaps:
            last = gaps[-1]
            joins = last[0] + last[1] == index and last[2] == reason
            if joins or len(gaps) >= MOST_GAPS:
                last[1] = index + n - last[0]
                return
        gaps.append([index, n, reason])

    def _send_gaps(self):
        if not self._outbox.takes_replies():
            return
        for index, n, reason in self._gaps:
            self._outbox.add(wire.GAP, index, struct.pack(wire.GAP_FORMAT, n, reason, 0, 0))
        self._gaps = []
