"""What tracks keep from one another, in mm: for the router, for KiCad's checks, for whoever orders the board."""

from __future__ import annotations

TRACK, WIDE = 0.3, 0.6
VIA, DRILL = 0.8, 0.4
PLANE_CLEARANCE, PLANE_LEAST = 0.25, 0.2  # of the ground planes: they go where the router's grid is free
SPOKE, SPOKE_GAP = 0.3, 0.3
CLEARANCE = 0.22  # a little more than the rule, for the grid's sake
LEAST_CLEARANCE, LEAST_TRACK, LEAST_VIA, LEAST_DRILL, LEAST_EDGE = (
    0.2,
    0.2,
    0.6,
    0.3,
    0.5,
)  # a common two-layer service
# Nets of a high resistance keep away from all else: less stray and less dirt between. The battery lead bears 200 V.
# By a net's name up to its first underscore.
AWAY = {"NODE": 0.45, "TOP": 0.45, "BOTH": 0.45, "BOTL": 0.45, "IN": 0.45, "JUMPED": 0.45, "AIN2": 0.45, "AIN3": 0.45,
        "UP": 0.45, "DOWN": 0.45, "BATTERY": 0.8}  # fmt: skip


def clearance_mm(net: str) -> float:
    """Return what a net keeps from others."""
    return AWAY.get(net.partition("_")[0], CLEARANCE)
