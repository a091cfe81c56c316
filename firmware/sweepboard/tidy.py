"""When the heap is collected while the rig streams: where nothing waits for it.

A collection takes 12 to 16 ms, and the buffers hold 31 windows. Left to itself it happens amid a command's work, and
the windows then wait for both.
"""

TIDY_MS = 300  # put off while something waits,
LATE_MS = 400  # but no longer than this: a full heap is collected where it happens to be full
FLOOD_MS = 200  # in a flood, which fills a small heap sooner
FRESH_MS = 50  # a command begins with a heap that was collected no longer ago


class Tidy:
    """Collects the heap of one rig (a Service) by `collect`, which may be None."""

    def __init__(self, rig, collect):
        self._rig = rig
        self._collect = collect
        self._ms = rig.clock.ms()  # of the last collection

    def tick(self, now_ms):
        """Collect where it is time; call it just after windows were taken."""
        due_ms, flooded = self._rig.clock.diff_ms(now_ms, self._ms), self._rig.inbox.flooded
        if self._collect is None or due_ms < (FLOOD_MS if flooded else TIDY_MS):
            return
        if self._rig.stream.behind or self._rig.outbox:
            if due_ms < LATE_MS and not flooded:
                return
            self._rig.stream.pump()
        self._now(now_ms)

    def before_command(self):
        """Take what waits, so that windows wait for the command's own work only; collect first, but in no flood."""
        stream, now_ms = self._rig.stream, self._rig.clock.ms()
        stream.pump()
        if self._collect is None or self._rig.inbox.flooded:
            return
        if self._rig.clock.diff_ms(now_ms, self._ms) >= FRESH_MS:
            stream.pump()  # what came during the one before
            self._now(now_ms)

    def _now(self, now_ms):
        self._ms = now_ms
        self._collect()
        self._rig.stream.pump()  # what came meanwhile
