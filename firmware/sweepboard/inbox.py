"""What came from the host and is not heard yet: a bounded queue, in which `stop` and `supply off` overtake a flood.

What is too much to hear waits at the port. Where that lasts, and at once while the rig streams (then its time belongs
to the conversions), the oldest is dropped and counted; a word that ends something voids what waits before it.
"""

from sweepboard import wire

READ_AT_ONCE = 256  # bytes taken from the port in one cycle
MOST_WAITING = 16  # messages
EVERY = 16  # in a flood one message is heard in so many cycles
FLOOD_MS = 100  # without a stream, more than can be heard for so long is a flood
OFF, STOP, SUPPLY = (
    b"false",
    b'"stop"',
    b'"supply"',
)  # JSON stands in a message as it is: zeros alone are replaced


class Inbox:
    """Messages on their way from `port`."""

    def __init__(self, port, clock):
        self.flooded = False  # while streaming, the last cycle found more than it takes
        self.n_dropped = 0
        self._port = port
        self._clock = clock
        self._splitter = wire.Splitter()
        self._waiting = []
        self._cycles = 0
        self._read_ms = clock.ms()  # the last cycle that listened, or could not
        self._full = False  # the last cycle that listened found more than it takes
        self._full_ms = 0  # for so long each of them did
        self._flood = False  # what comes is dropped rather than waited for
        self._late = False  # the same, and until what waited then is heard

    def read(self, streaming):
        """Take what came, a part at a time; return whether there is anything to do. Most cycles have nothing."""
        reads = not self._waiting or self._late or streaming or len(self._waiting) < MOST_WAITING
        data = self._port.read(READ_AT_ONCE) if reads else b""
        if not (data or self._waiting or self._full):
            return False
        self._judge(not reads or len(data) >= READ_AT_ONCE, streaming)
        for run in self._splitter.feed(data) if data else ():
            self._take(run)
        return bool(data) or bool(self._waiting)

    def _judge(self, full, streaming):
        """Look whether this is a flood; `full`: there is as much as a cycle takes."""
        now = self._clock.ms()
        lasted_ms = self._clock.diff_ms(now, self._read_ms) if full and self._full else 0
        self._full_ms = self._full_ms + lasted_ms if full else 0
        self._full, self._read_ms = full, now
        self._flood = full and (streaming or self._full_ms >= FLOOD_MS)
        self._late = self._flood or (self._late and bool(self._waiting))
        self.flooded = streaming and full

    def rest(self):
        """Let a cycle go by that has no room for answers: its time makes no flood."""
        self._read_ms = self._clock.ms()

    def _take(self, run):
        if self._late and _ends_something(run):
            self._void()
        self._waiting.append(run)
        if self._late and len(self._waiting) > MOST_WAITING:
            self._drop_oldest()

    def _void(self):
        """Drop all that ends nothing."""
        last = [waiting for waiting in self._waiting if _ends_something(waiting)]
        self.n_dropped += len(self._waiting) - len(last)
        self._waiting = last

    def _drop_oldest(self):
        """Drop the oldest message, one that ends nothing before others: those that end something stand in front."""
        at = 0
        while at < MOST_WAITING and _ends_something(self._waiting[at]):
            at += 1
        self._waiting.pop(at % MOST_WAITING)
        self.n_dropped += 1

    def messages(self):
        """Return what is to be heard in this cycle: one message, or () of many in most cycles of a flood."""
        if not self._waiting:
            return ()
        self._cycles += 1
        if self._flood and self._cycles < EVERY and not _ends_something(self._waiting[0]):
            return ()
        self._cycles = 0
        return (self._waiting.pop(0),)


def _ends_something(run):
    return STOP in run or (SUPPLY in run and OFF in run)
