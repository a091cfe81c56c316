"""When the rig may put a voltage on the sensor's leads: what the rig itself measures counts, whatever the host says.

The sensor's supply is switched on only after a fresh measurement, made with nothing of the rig's own switched on, has
found all leads low. Pulling the powered lead while a voltage is on switches everything off.
"""

from sweepboard import wire
from sweepboard.arguments import RefusedError
from sweepboard.windows import mean_code

PRESENT_CODE = 400  # of the converter: about 0.5 V at the sensor, where nothing should feed it
LOOK_MS = 50  # longest wait for the window that is measured before the supply is switched on
PULLED_MS = 50  # a powered lead that is away for so long is pulled; its contacts bounce
PULLING = wire.OUT_BURDEN | wire.OUT_BIAS_UP | wire.OUT_BIAS_DOWN


class SupplyGuard:
    """The rules of one rig (a Service)."""

    def __init__(self, rig):
        self._rig = rig
        self._away_ms = None  # since when the powered lead is away

    def powered_lead(self):
        """Return whether the powered lead is plugged in; None where the rig cannot tell."""
        feel = getattr(self._rig.switches, "powered_lead", None)
        return feel() if feel else None

    def must_be_allowed(self, what):
        """Raise RefusedError where the rig may put no voltage on the leads: tapped, or without the powered lead."""
        if self._rig.tapped:
            raise RefusedError(
                "refused", "%s is refused while tapped: the harness has its own controller" % what
            )
        if self.powered_lead() is False:
            raise RefusedError("refused", "%s is refused: the powered lead is not plugged in" % what)

    def must_be_dead(self):
        """Raise RefusedError unless a measurement made now finds all leads low; with the supply on, do nothing."""
        outputs = self._rig.switches.outputs()
        if outputs & wire.OUT_SUPPLY:
            return
        if outputs & PULLING:
            raise RefusedError(
                "not-now", "burden and bias off first: they pull at what is measured before power"
            )
        codes = self._streamed() if self._rig.stream.running else self._one_look()
        if codes is None:
            raise RefusedError(
                "not-now", "no conversion in %d ms: whether something feeds the sensor is not known" % LOOK_MS
            )
        for channel, code in enumerate(codes):
            if code > PRESENT_CODE:
                raise RefusedError(
                    "refused",
                    "channel %d reads code %d with the supply off: something else feeds this sensor"
                    % (channel, code),
                )

    def _streamed(self):
        """Return the mean codes of a window that comes from now on, or None where none comes."""
        stream = self._rig.stream
        before = stream.counts.made
        for _ in range(LOOK_MS):
            stream.pump()
            if stream.counts.made != before:
                return stream.last_codes()
            self._rig.clock.sleep_ms(1)
        return None

    def _one_look(self):
        """Return the mean codes of one window, or None where none comes."""
        source = self._rig.source
        source.start()
        buf = bytearray(wire.CHANNEL_SIZE * source.channels)
        try:
            for _ in range(LOOK_MS):
                if source.poll():
                    source.take(buf, 0)
                    channels = range(source.channels)
                    return [mean_code(buf, 0, channel, source.window) for channel in channels]
                self._rig.clock.sleep_ms(1)
        finally:
            source.stop()
        return None

    def tick(self, outputs):
        """Switch everything off once the powered lead has been away for PULLED_MS; call it in each cycle."""
        if not outputs & (wire.OUT_SUPPLY | PULLING) or self.powered_lead() is not False:
            self._away_ms = None
            return
        now = self._rig.clock.ms()
        if self._away_ms is None:
            self._away_ms = now
        elif self._rig.clock.diff_ms(now, self._away_ms) >= PULLED_MS:
            self._rig.release()
