"""From reset to the service, and out of it again.

The prompt is left free when pin BUTTON (GP11) is held low at reset: by the rig's button, or by a wire to the
ground pin beside it. It is also left free after `prompt`, and when the service failed MOST_FAILURES times in a row.
"""

import gc
import json
import sys
import time

from sweepboard import pins
from sweepboard.usb_port import UsbPort

CONFIG = "rig.json"
MOST_FAILURES = 3
FAILED_SOON_MS = 10000  # a service that ran for longer counts as having worked
PAUSE_MS = 500
TIDY_EVERY = 4096  # bytes taken between two collections while modules load


def prompt_wanted(pin=None):
    """Return whether the button or wire is there."""
    if pin is None:
        import machine

        pin = machine.Pin(pins.BUTTON, machine.Pin.IN, machine.Pin.PULL_UP)
        time.sleep_ms(1)
    return not pin.value()


def read_config(path=CONFIG):
    """Return what rig.json holds; {} where it is missing or no JSON object."""
    try:
        with open(path) as file:
            config = json.load(file)
    except (OSError, ValueError):
        return {}
    return config if isinstance(config, dict) else {}


def make(port, collector=gc):
    """Return the Service for this board.

    While modules load, the heap is collected every few kB: what loading leaves behind would otherwise stand between
    the parts that stay, and no large block would be left on a heap that is half empty.
    """
    collector.threshold(TIDY_EVERY)
    try:
        config = read_config()
        if sys.platform == "rp2":
            from sweepboard import rp2_rig as rig
        else:
            from sweepboard import polled_rig as rig
        return rig.make(port, config)
    finally:
        collector.threshold(-1)
        collector.collect()


def serve(port, make_service, print_exception, ticks=time):
    """Serve until the prompt is asked for; a service that fails says so and begins again, three times at most."""
    failures = 0
    while failures < MOST_FAILURES:
        began = ticks.ticks_ms()
        service = None
        try:
            service = make_service(port)
            service.run()
            return
        except Exception as problem:  # noqa: BLE001  (whatever it is, the rig must be made safe and say it)
            print_exception(problem)
            _make_safe(service)
        soon = ticks.ticks_diff(ticks.ticks_ms(), began) < FAILED_SOON_MS
        failures = failures + 1 if soon else 1
        ticks.sleep_ms(PAUSE_MS)
    print("The rig's firmware failed %d times: the prompt is free." % failures)


def _make_safe(service):
    """Switch everything off first, the watchdog last: should a step hang, the watchdog ends it."""
    if service is None:
        return
    close = getattr(service.source, "close", None)
    for step in (service.make_safe, service.source.stop, close, service.end_watch):
        try:
            if step:
                step()
        except Exception as problem:  # noqa: BLE001  (the steps after it must be done)
            print("making safe:", repr(problem))


def run():
    """Start the service, unless the board is asked for a prompt."""
    if sys.platform == "rp2" and prompt_wanted():
        print("Button held: the prompt is free.")
        return
    if sys.platform == "rp2":
        from sweepboard import rp2_pools

        rp2_pools.take()
    port = UsbPort()
    port.open()
    try:
        serve(port, make, sys.print_exception)
    finally:
        port.close()
