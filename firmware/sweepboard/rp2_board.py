"""Small facts of a Pico board for its self-check: regulator mode, chip temperature, VSYS.

They read the converter one conversion at a time: only while the fast source is stopped.
Pico datasheet sections 2.1 (pins) and 4.4 (power): GPIO23 high puts the regulator into PWM mode, with less
ripple at light load; VSYS/3 is on ADC3. On W boards GPIO23 and GPIO29 belong to the radio and are left alone.
"""

import sys

import machine
from micropython import const

SMPS_GPIO = const(23)
VSYS_GPIO = const(29)
VSYS_PARTS = const(3)  # ADC3 sees a third of VSYS
READINGS = const(64)  # of one mean
FULL_SCALE = const(65535)  # of read_u16()
TEMPERATURE_V = 0.706  # at 27 degrees Celsius: RP2040 datasheet section 4.9.5, RP2350 section 12.4.6
TEMPERATURE_V_PER_K = 0.001721


def is_plain_pico(machine_text=None):
    """Return whether this is a Pico or Pico 2 without a radio, by `sys.implementation._machine`."""
    text = machine_text or sys.implementation._machine
    return text.startswith("Raspberry Pi Pico") and " W " not in text


def set_smps(mode, machine_text=None):
    """Set the regulator's mode, "pwm" or "psm"; return the mode read back, or None where it cannot be set."""
    if mode not in ("pwm", "psm"):
        raise ValueError("regulator mode '%s' is neither 'pwm' nor 'psm'" % mode)
    if not is_plain_pico(machine_text):
        return None
    machine.Pin(SMPS_GPIO, machine.Pin.OUT, value=mode == "pwm")
    return smps(machine_text)


def smps(machine_text=None):
    """Return the regulator's mode as its pin reads, "pwm" or "psm", or None where there is no such pin."""
    if not is_plain_pico(machine_text):
        return None
    return "pwm" if machine.Pin(SMPS_GPIO).value() else "psm"


def _mean_v(source, vref_v):
    adc = machine.ADC(source)
    total = 0
    for _ in range(READINGS):
        total += adc.read_u16()
    return total * vref_v / (READINGS * FULL_SCALE)


def temperature_c(vref_v=3.3):
    """Return the chip's temperature in degrees Celsius; one per cent of `vref_v` is about 4 K."""
    return 27 - (_mean_v(machine.ADC.CORE_TEMP, vref_v) - TEMPERATURE_V) / TEMPERATURE_V_PER_K


def vsys_v(vref_v=3.3, machine_text=None):
    """Return VSYS in volts, or None where its pin serves the radio."""
    if not is_plain_pico(machine_text):
        return None
    return VSYS_PARTS * _mean_v(machine.Pin(VSYS_GPIO), vref_v)
