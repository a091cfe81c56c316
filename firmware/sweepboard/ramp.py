"""A slow ramp of the rig's own, for the linearity of its converter: the duty of a filtered PWM, straight in time.

The duty follows the clock, not the number of cycles: a cycle that comes late makes a larger step, never a bend. The
filter and what limits the ramp's straightness: docs/decisions/own-ramp.md.
"""

from sweepboard.arguments import RefusedError

FULL = 65535  # of duty_u16
LEAST_LEG_MS = 500
MOST_LEG_MS = 600000
MOST_LEGS = 100


class Ramp:
    """Up and down in turn, `legs` in all. switches.ramp(duty) sets the PWM; 0 is off, the pin low."""

    def __init__(self, switches, clock):
        self.running = False
        self._switches = switches
        self._clock = clock
        self._counting = False
        self._leg_ms = self._lasts_ms = self._began = self._duty = 0

    def command(self, leg_ms, legs, fed, streaming):
        """Begin at the bottom, or end (`leg_ms` 0); return what the reply says. RefusedError where it may not run."""
        if not leg_ms:
            self.stop()
            return {"leg_ms": 0}
        if leg_ms < LEAST_LEG_MS:
            raise RefusedError("out-of-range", "leg_ms is %d, not 0 or from %d" % (leg_ms, LEAST_LEG_MS))
        if fed:
            raise RefusedError("refused", "a ramp is refused while the sensor is fed: supply off first")
        if not streaming:
            raise RefusedError("not-now", "a ramp needs a running stream: start first")
        self._set(leg_ms, legs)
        return {"leg_ms": leg_ms, "legs": legs, "lasts_ms": self._lasts_ms}

    def must_rest(self):
        """RefusedError while a ramp runs."""
        if self.running:
            raise RefusedError("not-now", "a ramp runs: stop it first")

    def _set(self, leg_ms, legs):
        self._leg_ms = leg_ms
        self._lasts_ms = leg_ms * legs
        self._began = self._clock.ms()
        self._counting = False
        self.running = True

    def stop(self):
        """Let the pin rest low."""
        if self.running:
            self.running = False
            self._counting = False
            self._put(0)

    def permille(self):
        """Return how much of it is done, or None where none runs."""
        if not self.running:
            return None
        return min(1000, 1000 * self._clock.diff_ms(self._clock.ms(), self._began) // self._lasts_ms)

    def tick(self, streaming, counting):
        """Step the duty; call it in each cycle. It ends with the stream, and with the histogram that is `counting`."""
        if not self.running:
            return
        passed = self._clock.diff_ms(self._clock.ms(), self._began)
        if not streaming or passed >= self._lasts_ms or (self._counting and not counting):
            self.stop()
            return
        self._counting = counting
        leg, into = divmod(passed, self._leg_ms)
        duty = FULL * into // self._leg_ms
        self._put(FULL - duty if leg & 1 else duty)

    def _put(self, duty):
        if duty != self._duty:
            self._duty = duty
            self._switches.ramp(duty)
