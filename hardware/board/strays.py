"""Stray capacitance of the nodes on the kept board, from its copper: `python -m hardware.board.strays`."""

from __future__ import annotations

import math

from hardware.board import copper, kept

TRACK_F_MM = 0.06e-12  # 0.3 mm over a plane 1.5 mm below (44 pF/m by Hammerstad's equation) and one beside it
PAD_F = 0.4e-12  # a pad with its hole between two planes: from memory


def strays_f() -> dict[str, float]:
    """Return by channel the capacitance to ground [F] of all that hangs on the node, up to R3."""
    out = dict.fromkeys("ABS", 0.0)
    for c in copper.copper(kept.BOARD):
        kind, _, channel = c.net.partition("_")
        if kind in ("NODE", "JUMPED") and channel in out and not c.area:
            out[channel] += PAD_F if c.pin else TRACK_F_MM * math.dist(c.points[0], c.points[-1])
    return out


if __name__ == "__main__":
    for name, farad in strays_f().items():
        print(f"node {name}: {1e12 * farad:.1f} pF of tracks and pads")
