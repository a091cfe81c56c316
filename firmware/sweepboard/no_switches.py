"""Switches of a rig that has none, or whose switches are simulated: they remember what they were told."""


class RememberedSwitches:
    """Switches that only remember. `fitted` holds capability words; outputs() gives bits as in service.py."""

    def __init__(self, fitted=()):
        self.fitted = set(fitted)
        self.tapped = False
        self.light_mode = "off"
        self.buzzes = 0
        self.duty = 0
        self._supply = self._burden = False
        self._bias = "off"

    def supply(self, on):
        """Switch the sensor's supply."""
        self._supply = on

    def burden(self, on):
        """Switch the burden of both signals."""
        self._burden = on

    def bias(self, mode):
        """Pull the divided nodes "up" or "down", or let them go: "off"."""
        self._bias = mode

    def light(self, mode):
        """Set the rig's light."""
        self.light_mode = mode

    def buzzer(self, ms):
        """Sound for `ms`."""
        self.buzzes += 1

    def ramp(self, duty):
        """Set the duty of the ramp's PWM, 0 to 65535; 0 is off."""
        self.duty = duty

    def fault(self):
        """Return whether the supply is limited."""
        return False

    def button(self):
        """Return whether the rig's button is down."""
        return False

    def outputs(self):
        """Return what is switched on."""
        bias = {"off": 0, "up": 4, "down": 8}[self._bias]
        return (1 if self._supply else 0) | (2 if self._burden else 0) | bias | (16 if self.tapped else 0)
