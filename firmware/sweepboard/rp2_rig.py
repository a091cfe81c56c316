"""A rig on an RP2040 or RP2350 board: finds out which build it is and puts its parts together."""

import gc
import sys

import machine
from micropython import const

from sweepboard import FIRMWARE_VERSION, pins, rp2_board, rp2_chip, rp2_pools, rp2_watchdog
from sweepboard.board_clock import BoardClock
from sweepboard.rp2_adc import FastSource
from sweepboard.rp2_checks import SelfCheck
from sweepboard.rp2_keeping import BoardKeeping
from sweepboard.rp2_switches import Switches
from sweepboard.service import Service

I2C_BUS = const(0)
SMPS_DEFAULT = "pwm"


def find_build(bus=None):
    """Return (build, I2C bus or None) by what is fitted: pull-ups, monitor, encoder."""
    if bus is None and not _pulled_up():
        return "plain", None
    bus = bus or machine.I2C(
        I2C_BUS,
        sda=machine.Pin(pins.SDA),
        scl=machine.Pin(pins.SCL),
        freq=pins.I2C_HZ,
        timeout=pins.I2C_TIMEOUT_US,
    )
    if not _answers(bus, pins.MONITOR_I2C):
        return "plain", None
    return ("driven" if _answers(bus, pins.ENCODER_I2C) else "full"), bus


def _pulled_up():
    """Return whether both lines of the bus stand high against the pads' own pull-downs: R12 is there."""
    lines = [machine.Pin(gpio, machine.Pin.IN, machine.Pin.PULL_DOWN) for gpio in (pins.SDA, pins.SCL)]
    high = all(line.value() for line in lines)
    for line in lines:
        line.init(machine.Pin.IN, None)
    return high


def _answers(bus, address):
    try:
        bus.readfrom_mem(address, 0, 1)
    except OSError:
        return False
    return True


def identity(chip, build, port_free=None):
    """Return what hello says about this board and build."""
    return {
        "firmware": FIRMWARE_VERSION,
        "board": sys.implementation._machine,
        "chip": chip.name,
        "uid": "".join("%02x" % byte for byte in machine.unique_id()),
        "build": build,
        "capabilities": list(pins.CAPABILITIES[build]),
        "hookups": list(pins.HOOKUPS[build]),
        "reset_cause": rp2_watchdog.reset_cause(chip.name),
        "python": sys.version,
        "smps": rp2_board.smps(),
    }


def make(port, config):
    """Return the Service of this board. `config` is what rig.json holds: "build", "smps" and "light" may be set."""
    chip = rp2_chip.this_chip(sys.implementation._machine)
    wanted = config.get("smps", SMPS_DEFAULT)
    rp2_board.set_smps(wanted)
    build, bus = find_build()
    if config.get("build") in pins.PINS:
        build = config["build"] if bus is not None or config["build"] == "plain" else "plain"
    switches = Switches(build, chip, light_pin(config, build))
    monitor, drive = _on_bus(build, bus)
    return Service(
        port=port,
        source=FastSource(chip),
        switches=switches,
        clock=BoardClock(),
        identity=identity(chip, build),
        monitor=monitor,
        drive=drive,
        watchdog=rp2_watchdog.Watchdog(chip.name),
        selfcheck=SelfCheck(chip, switches, wanted),
        keeping=BoardKeeping(build),
        counts=rp2_pools.counts(),
        tidy=gc.collect,
    )


def light_pin(config, build):
    """Return the light that rig.json asks for: "LED", None, or the number of a GPIO that the build does not use."""
    pin = config.get("light", "LED")
    used = [getattr(pins, name) for name in pins.PINS[build]]
    return pin if pin is None or (isinstance(pin, int) and 0 <= pin < 23 and pin not in used) else "LED"


def _on_bus(build, bus):
    monitor = drive = None
    if build != "plain":
        from sweepboard.rp2_monitor import Monitor

        monitor = Monitor(bus)
    if build == "driven":
        from sweepboard.rp2_drive import Drive

        drive = Drive(bus)
    return monitor, drive
