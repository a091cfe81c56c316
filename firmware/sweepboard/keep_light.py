"""What the light means while nobody else is there: codes that need no colour. docs/howto/vehicle.md has the table.

A code is what is lit and dark in turn, in milliseconds, over and over: long is 900, short 200.
"""

LONG, SHORT, BETWEEN, PAUSE = 900, 200, 300, 1500
SHOW_MS = 60000  # how long a result is shown before the light says ready again


def blinks(n, length):
    """Return the code of `n` blinks of a length and a pause."""
    return (length, BETWEEN) * (n - 1) + (length, PAUSE)


OFF = ()
WORDS = {
    "off": OFF,  # no order: the button does nothing
    "ready": (SHORT, 3000),  # an order is there and the rest position is waited for
    "still": (100, 100),  # armed as soon as the lever rests
    "armed": (1000, 0),  # move now
    "running": (500, 500),
    "kept": blinks(2, LONG),
    "unwanted": blinks(3, LONG),  # the last one is marked as not wanted
    "fast": blinks(2, SHORT),  # again: moved too fast
    "few": blinks(3, SHORT),  # again: too few strokes
    "unmoved": blinks(4, SHORT),  # again: nothing moved
    "memory": blinks(5, SHORT),  # again: the memory is full
    "rail": blinks(6, SHORT),  # again: an end is near a rail
    "supply": blinks(7, SHORT),  # again: the supply was refused, shorted or overloaded
    "order": blinks(8, SHORT),  # no order that holds: none, expired, all done, for another rig or build
    "engine": blinks(9, SHORT),  # again: the battery reading shows a running engine
}


class Light:
    """Shows a word on `switches.light`."""

    def __init__(self, switches, clock):
        self.word = "off"
        self._switches = switches
        self._clock = clock
        self._began = clock.ms()
        self._lit = False

    def show(self, word):
        """Show another word from its beginning."""
        if word != self.word:
            self.word = word
            self._began = self._clock.ms()
            if not WORDS[word]:
                self._set(False)

    def let_go(self):
        """Leave the light to somebody else; the next show() begins anew."""
        self.word = "off"
        self._lit = False

    def tick(self):
        """Go on; called in each cycle."""
        code = WORDS[self.word]
        if not code:
            return
        at = self._clock.diff_ms(self._clock.ms(), self._began) % sum(code)
        lit = False
        for length in code:
            lit = not lit
            if at < length:
                break
            at -= length
        self._set(lit)

    def _set(self, lit):
        if lit != self._lit:
            self._lit = lit
            self._switches.light("on" if lit else "off")


class Button:
    """Presses of a button that bounces: short ones when it is let go, long ones while it is held."""

    STEADY_MS = 30
    LONG_MS = 1500

    def __init__(self, is_down, clock):
        self._is_down = is_down
        self._clock = clock
        self._raw = self._down = self._long = False
        self._since = self._began = clock.ms()

    def poll(self):
        """Return "short", "long" or ""."""
        down, now = bool(self._is_down()), self._clock.ms()
        if down != self._raw:
            self._raw, self._since = down, now
        elif down != self._down and self._clock.diff_ms(now, self._since) >= self.STEADY_MS:
            self._down, self._began = down, now
            if not down and not self._long:
                return "short"
            self._long = False
        elif self._down and not self._long and self._clock.diff_ms(now, self._began) >= self.LONG_MS:
            self._long = True
            return "long"
        return ""
