"""In which order a rig is taken off a harness; every text that says it takes it from here.

The vehicle's controllers shut down while everything is still connected, and the rig stays powered until its tap is off.
"""

from __future__ import annotations

SHUT_DOWN = "ignition off, wait until the controllers have shut down"


def off_order(source: str = "USB") -> str:
    """Return the steps in which everything is switched off and unplugged; `source` is what powers the rig."""
    return f"To disconnect, in this order: {SHUT_DOWN}, tap off, {source} off."


OFF_ORDER = off_order()
