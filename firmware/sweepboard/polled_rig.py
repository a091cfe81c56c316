"""A rig on any other board: the converter is read one conversion at a time, nothing is switched.

rig.json names its analogue pins, in the order signal A, signal B, supply: {"analogue": [32, 33, 34]}.
"""

import sys

import machine

from sweepboard import FIRMWARE_VERSION
from sweepboard.board_clock import BoardClock
from sweepboard.no_switches import RememberedSwitches
from sweepboard.polled_source import PolledSource
from sweepboard.service import Service

CAUSES = {
    "PWRON_RESET": "power on",
    "HARD_RESET": "reset pin",
    "WDT_RESET": "watchdog",
    "SOFT_RESET": "software",
}


LIMITS = (
    "converts 16 times each channel every 10 ms and is blind in between: no statement on shorter dropouts",
    "switches nothing: the sensor needs a supply of its own, and nothing is known of its current",
)  # what hello says that this rig cannot do


def reset_cause():
    """Return why the board started, or "unknown"."""
    if hasattr(machine, "reset_cause"):
        cause = machine.reset_cause()
        for name, text in CAUSES.items():
            if getattr(machine, name, None) == cause:
                return text
    return "unknown"


def make(port, config):
    """Return the Service of this board."""
    clock = BoardClock()
    readers = [machine.ADC(machine.Pin(gpio)).read_u16 for gpio in config["analogue"]]
    about = {
        "firmware": FIRMWARE_VERSION,
        "board": getattr(sys.implementation, "_machine", sys.platform),
        "chip": sys.platform,
        "uid": "".join("%02x" % byte for byte in machine.unique_id()),
        "build": "plain",
        "capabilities": [],
        "hookups": ["powered"],
        "reset_cause": reset_cause(),
        "python": sys.version,
        "smps": None,
        "limits": list(LIMITS),
    }
    source = PolledSource(readers, clock)
    return Service(port=port, source=source, switches=RememberedSwitches(), clock=clock, identity=about)
