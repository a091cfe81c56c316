"""What a rig can switch and what it can feel, on an RP2 board. Pins: pins.py; circuit: hardware/."""

import time

import machine
from micropython import const

from sweepboard import pins, rp2_chip

BUZZER_HZ = const(2700)  # near the resonance of common piezo discs: common practice, no source
BUZZER_DUTY = const(32768)  # half of 65535
RAMP_HZ = const(2000)  # 62,500 steps of duty at 125 MHz; docs/decisions/own-ramp.md
BLINK_MS = {"slow": 500, "fast": 100}


class Switches:
    """Switches of one build. All of them are off from the start."""

    def __init__(self, build, chip, light="LED"):
        """Take the pins of `build`. `light`: the board's own, the GPIO of one outside, or None."""
        self.tapped = False
        self.fitted = set(pins.CAPABILITIES[build]) - {"monitor", "drive"}
        self._chip = chip
        self._supply = machine.Pin(pins.SUPPLY_ON, machine.Pin.OUT, value=0)
        self._fault = machine.Pin(pins.SUPPLY_FAULT, machine.Pin.IN, None)
        self._fault_pad = rp2_chip.pad_address(chip, pins.SUPPLY_FAULT)
        self._light = _light(light)
        if self._light is not None:
            self.fitted.add("light")
        self._light_mode = "off"
        self._lit = False
        self._on = 0  # what was switched on, as bits OUT_* of wire.py
        self._burden = self._up = self._down = self._link = self._button = self._tone = None
        self._tone_ends = self._ramp = None
        if build != "plain":
            self._begin_full()

    def _begin_full(self):
        self._burden = machine.Pin(pins.BURDEN_ON, machine.Pin.OUT, value=0)
        self._up = machine.Pin(pins.BIAS_UP, machine.Pin.OUT, value=0)  # released where its diode blocks
        self._down = machine.Pin(pins.BIAS_DOWN, machine.Pin.OUT, value=1)
        self._link = machine.Pin(pins.LINK, machine.Pin.IN, machine.Pin.PULL_UP)
        self._button = machine.Pin(pins.BUTTON, machine.Pin.IN, machine.Pin.PULL_UP)
        machine.Pin(pins.RAMP, machine.Pin.OUT, value=0)

    def supply(self, on):
        """Switch the sensor's supply."""
        self._supply.value(bool(on))
        self._on = self._on & ~1 | (1 if on else 0)

    def burden(self, on):
        """Switch the burden of both signals."""
        if self._burden is not None:
            self._burden.value(bool(on))
            self._on = self._on & ~2 | (2 if on else 0)

    def bias(self, mode):
        """Pull the divided nodes "up" or "down", or let them go: "off"."""
        if self._up is None:
            return
        self._up.value(mode == "up")
        self._down.value(mode != "down")
        self._on = self._on & ~12 | {"up": 4, "down": 8}.get(mode, 0)

    def light(self, mode):
        """Set the light: "off", "on", "slow" or "fast"."""
        self._light_mode = mode
        if mode in ("off", "on"):
            self._show(mode == "on")

    def _show(self, lit):
        """Write the light only where it changes: on boards with a radio each write goes through the radio's chip."""
        if self._light is not None and lit != self._lit:
            self._lit = lit
            self._light.value(lit)

    def buzzer(self, ms):
        """Sound for `ms`."""
        if self._tone is None:
            self._tone = machine.PWM(machine.Pin(pins.BUZZER))
        self._tone.freq(BUZZER_HZ)
        self._tone.duty_u16(BUZZER_DUTY if ms else 0)
        self._tone_ends = time.ticks_add(time.ticks_ms(), ms)

    def ramp(self, duty):
        """Set the duty of the ramp's PWM, 0 to 65535; 0 is off, the pin low."""
        if duty and self._ramp is None:
            self._ramp = machine.PWM(machine.Pin(pins.RAMP))
            self._ramp.freq(RAMP_HZ)
        if self._ramp is not None:
            self._ramp.duty_u16(duty)
        if not duty and self._ramp is not None:
            self._ramp.deinit()
            self._ramp = None
            machine.Pin(pins.RAMP, machine.Pin.OUT, value=0)

    def tick(self):
        """End a tone and blink; called in each cycle."""
        if self._tone_ends is not None and time.ticks_diff(time.ticks_ms(), self._tone_ends) >= 0:
            self._tone.duty_u16(0)
            self._tone_ends = None
        half_ms = BLINK_MS.get(self._light_mode)
        if half_ms:
            self._show(bool(time.ticks_ms() // half_ms & 1))

    def fault(self):
        """Return whether the supply's limit is at work.

        The input buffer is on only while it is read: with it on, a pad of an RP2350 can hold itself near 2 V
        against the 15 kohm that pull it down (erratum RP2350-E9).
        """
        mem = machine.mem32
        mem[self._fault_pad] |= rp2_chip.PAD_IE
        limited = self._fault.value()
        mem[self._fault_pad] &= ~rp2_chip.PAD_IE
        return bool(limited)

    def button(self):
        """Return whether the rig's button is down."""
        return self._button is not None and not self._button.value()

    def powered_lead(self):
        """Return whether the powered lead is plugged in; None where this build cannot tell."""
        return None if self._link is None else not self._link.value()

    def outputs(self):
        """Return what is switched on, as bits OUT_* of wire.py."""
        return self._on | 16 if self.tapped else self._on


def _light(pin):
    """Return the pin of the light. "LED": GPIO25 of a Pico, a line of the radio's chip on boards with one."""
    if pin is None:
        return None
    try:
        return machine.Pin(pin, machine.Pin.OUT, value=0)
    except (TypeError, ValueError):  # a board without one
        return None
