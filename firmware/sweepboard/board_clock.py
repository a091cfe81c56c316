"""The board's clock, as the service uses it."""

import time


class BoardClock:
    """Milliseconds and microseconds that wrap; compare them with diff_ms only."""

    def ms(self):
        """Return milliseconds."""
        return time.ticks_ms()

    def us(self):
        """Return microseconds."""
        return time.ticks_us()

    def diff_ms(self, later, earlier):
        """Return how many milliseconds passed."""
        return time.ticks_diff(later, earlier)

    def sleep_ms(self, n):
        """Wait."""
        time.sleep_ms(n)
