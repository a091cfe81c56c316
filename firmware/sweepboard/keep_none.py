"""Stands in for the keeper where there is no place for sweeps on the board: a press is answered, and does nothing."""

from sweepboard.keep_light import SHOW_MS, Button, Light


class NoKeeper:
    """A keeper that never had an order."""

    running = False

    def __init__(self, rig, button=None):
        self.rig = rig
        self.light = Light(rig.switches, rig.clock)
        self._button = Button(button or rig.switches.button, rig.clock)
        self._shown_ms = 0

    def tick(self):
        """Say that there is no order, where somebody presses and no host is there."""
        now = self.rig.clock.ms()
        press = "" if self.rig.stream.running else self._button.poll()
        if self.rig.stream.running or self.rig.host_is_there():
            self.light.let_go()
        elif press:
            self.light.show("order")
            self._shown_ms = now
        elif self.light.word != "off" and self.rig.clock.diff_ms(now, self._shown_ms) >= SHOW_MS:
            self.light.show("off")
        self.light.tick()

    def host_came(self):
        """Nothing runs."""

    def close(self):
        """Nothing is open."""
