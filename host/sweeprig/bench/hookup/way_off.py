"""How a rig comes off a harness: one order for every text that names it.

The controllers shut down while all that they are used to is still connected; the rig is powered until its tap is off.
"""

from __future__ import annotations

SHUT_DOWN = "ignition off, wait until the controllers have shut down"


def off_order(source: str = "USB") -> str:
    """Return the order in which all is switched off and taken off; `source` is what powers the rig."""
    return f"To disconnect, in this order: {SHUT_DOWN}, tap off, {source} off."


OFF_ORDER = off_order()
