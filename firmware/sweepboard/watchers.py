"""What looks at every window besides its record: snapshots of events, and counts of codes.

A watcher has `on`, begin() at the start of a stream, and look(message, at, n, index) for `n` windows that follow each
other, `index` being that of the first, whose records stand in `message` from `at`; the last of them was taken last. The
conversions themselves come from source.raw(), or source.raw(k) of the window k before the one taken last.
"""

import struct
from array import array

from sweepboard import wire
from sweepboard.windows import copy_codes, count_into, farthest, mean_code, reduce_into, unusual
from sweepboard.wire import CODES

FLAGS_AT = wire.RECORD_SIZE - 2  # in a record; its low byte
SNAPSHOT_ROOM = 2016  # conversions of one snapshot; a multiple of three that fits wire.MAX_MESSAGE
HISTOGRAM_PIECE = 512  # codes in one HISTOGRAM message
MOST_PER_SECOND = 20
HISTOGRAM_MOST_WINDOWS = 1 << 24  # so that a count of 166 a window stays within its u32


class Snapshots:
    """Sends the raw conversions around a window whose spread, or jump from the window before, is unusual."""

    def __init__(self, source, outbox):
        self.on = False
        self.n_skipped = 0  # events that were not sent: too soon after another, or no room
        self._source = source
        self._outbox = outbox
        self._words = source.channels * source.window
        self.most_before = self._words  # conversions, all channels: one window back
        self.most_after = SNAPSHOT_ROOM - self._words - source.channels
        self._spread = self._jump = self._before = self._after = 0
        self._every = 0  # windows between two snapshots
        self._last = array("I", [0] * source.channels)
        self._message = bytearray(wire.HEADER_SIZE + wire.SNAPSHOT_SIZE + 2 * SNAPSHOT_ROOM + wire.CRC_SIZE)
        self._reduced = bytearray(wire.CHANNEL_SIZE * source.channels)
        self.begin()

    def route(self, outbox):
        """Queue in another outbox from now on."""
        self._outbox = outbox

    def set(self, spread, jump, before, after, per_second):
        """Set thresholds in codes (0: off) and extent in conversions of all channels."""
        self._spread, self._jump = spread, jump
        self._before, self._after = before, after
        windows_per_second = self._source.conversion_hz // self._words
        self._every = max(1, windows_per_second // per_second)
        self.on = bool(spread or jump)
        self.begin()

    def begin(self):
        """Forget the windows before."""
        self._previous = None  # conversions of the window before, where it follows without a gap
        self._next_index = 0  # no snapshot before this window
        self._wanted = 0  # conversions that an open snapshot still needs
        self._n = 0
        self._seen = -1  # index of the window looked at last
        self.n_skipped = 0

    def look(self, message, at, n, index):
        """See the module."""
        while n:
            done = self._look_on(message, at, n, index)
            at += wire.RECORD_SIZE * done
            index += done
            n -= done

    def _look_on(self, message, at, n, index):
        """Look at windows up to the first that is unusual, or at one where each counts; return how many."""
        source = self._source
        if message[at + FLAGS_AT] & wire.FLAG_SPLICE or index != self._seen + 1:
            self._break()
        jump, done = self._jump, n
        if self._wanted or self._previous is None:
            done = 1
            jump = jump if self._previous is not None else 0
        found = unusual(message, at, source.channels, source.window, self._last, self._spread, jump, done)
        if found >= 0:
            done = found // source.channels + 1
        self._seen = index + done - 1
        if done > 1:
            self._previous = source.raw(n - done + 1)
        self._see(
            source.raw(n - done) if n > done else source.raw(), found % source.channels if found >= 0 else -1
        )
        return done

    def _see(self, raw, channel):
        """Look at the conversions of the window seen last, in which `channel` is unusual or, with -1, none is."""
        if raw is None:
            return
        if self._wanted:
            n = min(self._wanted, self._words)
            self._wanted -= n
            self._keep(raw, 0, n)
            self._finish_if_whole()
        elif channel >= 0:
            self._event(raw, channel, self._seen)
        self._previous = raw

    def _event(self, raw, channel, index):
        if index < self._next_index or not self._outbox.takes_long():
            self.n_skipped += 1
        else:
            self._next_index = index + self._every
            self._open(raw, channel, index)

    def _reference(self, raw, channel):
        """Return the mean code of `channel` in the window before, or in this one where there is none."""
        source = self._source
        before = raw if self._previous is None else self._previous
        reduce_into(before, 0, source.channels, source.window, self._reduced, 0)
        return mean_code(self._reduced, 0, channel, source.window)

    def _break(self):
        """Windows are missing: nothing before them belongs to what comes."""
        self._previous = None
        if self._wanted:
            self._wanted = 0
            self._send()

    def _open(self, raw, channel, index):
        """Begin a snapshot: what lies before the event, and what there is of the time after it."""
        channels = self._source.channels
        trigger = farthest(raw, 0, channels, channel, self._source.window, self._reference(raw, channel))
        start = trigger - self._before
        start -= start % channels
        if start < 0 and self._previous is None:
            start = 0
        self._n = 0
        self._channel = channel
        self._trigger = trigger - start
        self._index = index if start >= 0 else index - 1
        self._first = start if start >= 0 else self._words + start
        if start < 0:
            self._keep(self._previous, self._first, -start)
            start = 0
        end = trigger + self._after + 1
        end += -end % channels
        n = min(end, self._words) - start
        self._wanted = end - start - n
        self._keep(raw, start, n)
        self._finish_if_whole()

    def _keep(self, raw, start, n):
        copy_codes(raw, start, n, self._message, (wire.HEADER_SIZE + wire.SNAPSHOT_SIZE) // 2 + self._n)
        self._n += n

    def _finish_if_whole(self):
        if self._wanted == 0:
            self._send()

    def _send(self):
        if not self._outbox.takes_long():
            self.n_skipped += 1
            return
        message = self._message
        struct.pack_into(
            wire.SNAPSHOT_FORMAT, message, wire.HEADER_SIZE, self._first, self._trigger,
            self._source.channels, self._channel, self._n,
        )  # fmt: skip
        n = wire.HEADER_SIZE + wire.SNAPSHOT_SIZE + 2 * self._n
        self._outbox.add_long(wire.SNAPSHOT, message, n, self._index)


class Histogram:
    """Counts the codes of one channel over a number of windows, then sends all counts in pieces.

    `counts` is room for CODES u32, an array or, for the loops in viper, plain bytes; made here where it is None.
    """

    def __init__(self, source, outbox, counts=None):
        self.on = False
        self._source = source
        self._outbox = outbox
        self._counts = array("I", bytes(4 * CODES)) if counts is None else counts
        self._unit = len(self._counts) // CODES  # items of a code
        self._zeros = self._counts[: HISTOGRAM_PIECE * self._unit]
        self._next_code = CODES  # of the piece that is sent next; CODES: nothing to send
        self._message = bytearray(
            wire.HEADER_SIZE + wire.HISTOGRAM_SIZE + 4 * HISTOGRAM_PIECE + wire.CRC_SIZE
        )

    def lend(self, n):
        """Return room for `n` bytes: that of the counts, which are void then, or new room where counts are no bytes."""
        self.begin()
        return memoryview(self._counts if self._unit > 1 else bytearray(n))[:n]

    @property
    def busy(self):
        """Whether counts are being made or sent."""
        return self.on or self._next_code < CODES

    def set(self, channel, windows):
        """Count `channel` for `windows`."""
        n = len(self._zeros)
        for at in range(0, len(self._counts), n):
            self._counts[at : at + n] = self._zeros
        self._channel = channel
        self._left = self._windows = windows
        self.on = True

    def begin(self):
        """A new stream: counts that were not whole are void."""
        self.on = False
        self._next_code = CODES

    def look(self, message, at, n, index):
        """See the module."""
        source = self._source
        while n and self._left:
            n -= 1
            raw = source.raw(n) if n else source.raw()
            if raw is None:
                return
            count_into(raw, 0, source.channels, self._channel, source.window, self._counts)
            self._left -= 1
        if self._left == 0:
            self.on = False
            self._next_code = 0

    def send(self, index):
        """Send a piece if there is one and the last one has left; call it once in each cycle."""
        if self._next_code >= CODES or self._outbox.holds_long():
            return
        first = self._next_code
        message = self._message
        at = wire.HEADER_SIZE + wire.HISTOGRAM_SIZE
        struct.pack_into(
            wire.HISTOGRAM_FORMAT, message, wire.HEADER_SIZE, self._channel, 0, first, self._windows
        )
        piece = memoryview(self._counts)[first * self._unit : (first + HISTOGRAM_PIECE) * self._unit]
        message[at : at + 4 * HISTOGRAM_PIECE] = piece if self._unit == 4 else bytes(piece)
        self._next_code = first + HISTOGRAM_PIECE
        self._outbox.add_long(wire.HISTOGRAM, message, at + 4 * HISTOGRAM_PIECE, index)
