"""When a kept sweep starts and ends: armed at rest, started by movement, ended by strokes and a rest, or by its time.

The same as bench/sweep/trigger.py and bench/readings/lever.py of the host, on whole numbers: a test compares them. A
level is the sum of the two middle ones of STEP sums of signal A, so 2 x window conversions of code. Time is counted in
windows, by their index.
"""

from sweepboard import wire
from sweepboard.keep_sums import STEP, middle, put, sums

STILL = 151  # windows without progress after which a movement has ended
SETTLED = 302  # windows that the lever must rest before it is armed
FULL_PERCENT = 85  # of the span seen: a movement this long is a stroke

SETTLING, ARMED, RUNNING, RESTING, OVER = 0, 1, 2, 3, 4


class Lever:
    """Rests and movements of signal A. `least` is the smallest movement that counts, as a level."""

    def __init__(self, least):
        self.now = 0  # index behind the latest level
        self.still_from = None  # index since when it rests; None: it moves, or nothing was seen
        self._least = least
        self._anchor = None  # (index, level) of the rest or turning point
        self._extreme = (0, 0)
        self._direction = 0

    def rest(self):
        """Return for how many windows it has rested; 0 while it moves."""
        return 0 if self.still_from is None else self.now - self.still_from

    def level(self, now, value):
        """Take a level; return (from, to, windows) of a movement that ended with it, or None."""
        self.now = now
        if self._anchor is None:
            self._anchor, self.still_from = (now, value), now
        if self._direction == 0:
            self._at_rest(now, value)
            return None
        ahead = (value - self._extreme[1]) * self._direction
        if 8 * ahead > self._least:
            self._extreme = (now, value)
        elif -ahead > self._least:
            return self._turned(now, value)
        elif now - self._extreme[0] >= STILL:
            return self._stopped(value)
        return None

    def _at_rest(self, now, value):
        away = value - self._anchor[1]
        if abs(away) > self._least:
            self._direction = 1 if away > 0 else -1
            self._extreme, self.still_from = (now, value), None
        elif 8 * abs(away) < self._least:
            self._anchor = (now, self._anchor[1])

    def _turned(self, now, value):
        move = self._move(self._extreme[1])
        self._anchor, self._direction, self._extreme = self._extreme, -self._direction, (now, value)
        return move

    def _stopped(self, value):
        move = self._move(value)
        self.still_from = self._extreme[0]
        self._anchor, self._direction = (self.now, value), 0
        return move

    def _move(self, to):
        began, level = self._anchor
        return level, to, self._extreme[0] - began, self._extreme[0]


class Arm:
    """One sweep by its rules: `least`, `span` as levels; `strokes`; `hold`, `longest`, `fast` in windows.

    A `timed` one starts at once and ends by its time alone.
    """

    def __init__(self, rules, timed):
        self.phase = SETTLING
        self.ended = ""  # strokes | longest
        self.start = 0  # index at which the movement began
        self.strokes = 0
        self.fast = 0  # strokes that took fewer windows than `fast`
        self.low = self.high = None  # levels at the ends of movements
        self._rules = rules
        self._timed = timed
        self._lever = Lever(rules["least"])
        self._sums = sums()
        self._n = 0  # of them

    def feed(self, message, at, n, index):
        """Take `n` records that stand in `message` from `at`; return the phase."""
        while n:
            part = min(n, STEP - self._n)
            self._n = put(self._sums, self._n, message, at, part)
            at += wire.RECORD_SIZE * part
            index += part
            n -= part
            if self._n == STEP:
                self._n = 0
                self._step(index, middle(self._sums))
        return self.phase

    def _step(self, now, level):
        if self._timed and self.phase == SETTLING:
            self.phase, self.start = RUNNING, now
        move = self._lever.level(now, level)
        if self.phase <= ARMED:
            self._wait()
        if self.phase in (RUNNING, RESTING):
            if move is not None and move[3] >= self.start:
                self._count(move)
            self._run()

    def _wait(self):
        resting = self._lever.still_from is not None
        if self.phase == SETTLING and resting and self._lever.rest() >= SETTLED:
            self.phase = ARMED
        elif self.phase == ARMED and not resting:
            self.phase, self.start = RUNNING, self._lever.now

    def _count(self, move):
        begin, end, windows, _at = move
        self.low = min(begin, end) if self.low is None else min(self.low, begin, end)
        self.high = max(begin, end) if self.high is None else max(self.high, begin, end)
        size = abs(end - begin)
        if 100 * size >= FULL_PERCENT * (self.high - self.low) and 2 * size >= self._rules["span"]:
            self.strokes += 1
            self.fast += windows < self._rules["fast"]

    def _run(self):
        rules = self._rules
        enough = self.strokes >= rules["strokes"] and not self._timed
        self.phase = RESTING if enough else RUNNING
        if enough and self._lever.rest() >= rules["hold"]:
            self.phase, self.ended = OVER, "strokes"
        elif self._lever.now - self.start >= rules["longest"]:
            self.phase, self.ended = OVER, "longest"
