"""What came from the host and is not heard yet: a bounded queue, in which `stop` and `supply off` overtake a flood.

While the rig streams, its time belongs to the conversions. More than it can hear is then dropped, the oldest first, and
counted; a word that ends something voids what waits before it.
"""

from sweepboard import wire

READ_AT_ONCE = 256  # bytes taken from the port in one cycle
MOST_WAITING = 16  # messages
EVERY = 8  # in a flood one message is heard in so many cycles
OFF, STOP, SUPPLY = (
    b"false",
    b'"stop"',
    b'"supply"',
)  # JSON stands in a message as it is: zeros alone are replaced


class Inbox:
    """Messages on their way from `port`."""

    def __init__(self, port):
        self.flooded = False  # the last cycle found more than it takes
        self.n_dropped = 0
        self._port = port
        self._splitter = wire.Splitter()
        self._waiting = []
        self._cycles = 0
        self._streaming = False

    def read(self, streaming):
        """Take what came, a part at a time; return how many bytes."""
        data = self._port.read(READ_AT_ONCE)
        self._streaming = streaming
        self.flooded = streaming and len(data) >= READ_AT_ONCE
        for run in self._splitter.feed(data) if data else ():
            self._take(run)
        return len(data)

    def _take(self, run):
        self._waiting.append(run)
        if self.flooded and (len(self._waiting) > MOST_WAITING or _ends_something(run)):
            last = [waiting for waiting in self._waiting if _ends_something(waiting)]
            last = (last or self._waiting)[-MOST_WAITING:]
            self.n_dropped += len(self._waiting) - len(last)
            self._waiting = last

    def messages(self):
        """Return what is to be heard in this cycle: all of it, or one message while the rig streams."""
        waiting = self._waiting
        if not self._streaming:
            self._waiting = []
            return waiting
        self._cycles += 1
        now = not self.flooded or self._cycles % EVERY == 0
        return (waiting.pop(0),) if waiting and (now or _ends_something(waiting[0])) else ()


def _ends_something(run):
    return STOP in run or (SUPPLY in run and OFF in run)
