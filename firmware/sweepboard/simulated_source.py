"""A source of windows whose conversions come from outside: a simulated rig, or a recording.

`fetch(outputs, n_windows)` returns raw u16 little-endian conversions, channels interleaved, of at most
`n_windows` whole windows; b"" says that none is ready yet. `outputs` is what the rig has switched on, as the bits
of Service.outputs(). Bit 15 of a conversion marks it as bad, as the converter of the board does.
"""

from array import array

from sweepboard import wire
from sweepboard.windows import reduce_into
from sweepboard.wire import CODE_MASK


class SimulatedSource:
    """Windows of conversions that `fetch` gives.

    `outputs` is a function that returns the rig's outputs (0 without it); set it once the service is there.
    At most `ahead` windows are fetched at once. `conversions_lost` stays 0: what is lost here is lost outside.
    """

    channels = wire.CHANNELS
    conversion_hz = wire.CONVERSION_HZ

    def __init__(self, fetch, *, outputs=None, ahead=4, window=wire.WINDOW):
        self.window = window
        self.outputs = outputs
        self.n_windows = 0  # fetched since this source was made
        self.conversions_lost = 0
        self.conversions_in_error = 0
        self._fetch = fetch
        self._ahead = ahead
        self._words = self.channels * window
        self._running = False
        self._forget()

    def _forget(self):
        self._codes = None
        self._ready = self._next = 0
        self._taken = None
        self._splice = wire.FLAG_SPLICE

    def start(self):
        """Fetch from now on."""
        self._forget()
        self._running = True

    def stop(self):
        """Fetch no more."""
        self._running = False
        self._forget()

    def poll(self):
        """Return how many windows are ready; fetch some where none is."""
        if self._running and self._next >= self._ready:
            self._fill()
        return self._ready - self._next

    def _fill(self):
        data = self._fetch(self.outputs() if self.outputs else 0, self._ahead)
        n, rest = divmod(len(data), 2 * self._words)
        if rest:
            raise ValueError("fetch gave %d bytes, not whole windows of %d" % (len(data), 2 * self._words))
        self._codes = memoryview(array("H", data))
        self._ready = n
        self._next = 0
        self.n_windows += n

    def take(self, buf, at):
        """Reduce the next window into `buf` from `at` (8 bytes a channel); return its flags."""
        begin = self._next * self._words
        self._taken = self._codes[begin : begin + self._words]
        self._next += 1
        flags = self._splice
        self._splice = 0
        if reduce_into(self._taken, 0, self.channels, self.window, buf, at) > CODE_MASK:
            flags |= wire.FLAG_CONVERSION_ERROR
            self.conversions_in_error += sum(1 for code in self._taken if code > CODE_MASK)
        return flags

    def raw(self):
        """Return the conversions of the window last taken, or None."""
        return self._taken

    def gap(self):
        """Return None: nothing is lost between `fetch` and here."""
        return


class SimulatedClock:
    """A clock that runs with a SimulatedSource's conversions, and by sleep_ms: nothing ever waits."""

    def __init__(self, source):
        self._source = source
        self._slept_us = 0

    def us(self):
        """Return microseconds since the beginning."""
        source = self._source
        words = source.channels * source.window
        return source.n_windows * words * 1000000 // source.conversion_hz + self._slept_us

    def ms(self):
        """Return milliseconds since the beginning."""
        return self.us() // 1000

    def diff_ms(self, later, earlier):
        """Return how many milliseconds passed."""
        return later - earlier

    def sleep_ms(self, n):
        """Let time pass."""
        self._slept_us += 1000 * n
