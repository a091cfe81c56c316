"""Simulated sensors, hands, front end and converter; and `sim://`, a simulated rig behind a port's URL."""

from __future__ import annotations

_URLS = "sweeprig.twin.urls"


def register() -> None:
    """Let pyserial open `sim://SENSOR?...`; more than once does no harm. See docs/reference/twins.md."""
    import serial

    if _URLS not in serial.protocol_handler_packages:
        serial.protocol_handler_packages.append(_URLS)
