"""What each pin of a part is to the electrical rules: by the key of parts.toml, every pin of every part."""

from __future__ import annotations

from collections.abc import Mapping

from sweeprig.frontend.nets import BOARD, EDGE, SOCKET, SOCKET_PINS, Piece
from sweeprig.frontend.tables import pins

# out drives; source feeds a rail; open pulls one way; in needs somebody who drives; power needs a rail; both is a bus;
# passive lets through; none is joined to nothing inside.
KINDS = ("out", "source", "open", "in", "power", "both", "passive", "none")
_TWO = "1:passive 2:passive"
_DIODE = "K:passive A:passive"
_PAIR = "1:passive 2:passive 3:passive"
_BIPOLAR = "E:passive B:in C:open"
_MOSFET = "D:open G:in S:passive"
_PLUS_MINUS = "+:passive -:passive"
_BY_KEY = {
    "buffer": "1:out 2:in 3:in 4:power 5:in 6:in 7:out 8:out 9:in 10:in 11:power 12:in 13:in 14:out",
    "monitor": "VDD:power GND:power SCL:both SDA:both ADDR:in ALRT:open A0:in A1:in A2:in A3:in",
    "encoder": "VDD:power GND:power SDA:both SCL:both",
    "boost": "1:open 2:power 3:passive 4:power 5:in 6:power 7:in 8:open",
    "error_amp": "1:out 2:in 3:in 4:power 5:in 6:in 7:out 8:power",
    "shunt": "REF:in A:power K:passive",
    "reference": "NC:none K:passive A:power",
    "driver": "GND:power STEP:in DIR:in ENABLE:in VIO:power MS1:in MS2:in MS3:in RESET:in SLEEP:in"
    " VMOT:power MGND:power OUT1A:out OUT1B:out OUT2A:out OUT2B:out",
    "motor": "1A:passive 1B:passive 2A:passive 2B:passive",
    "motor_supply": "+:source -:source",
    "jumper": "LEAD:passive MIDDLE:passive RAMP:passive",
    **dict.fromkeys(("q_pass", "q_limit", "q_flag", "q_drive"), _BIPOLAR),
    **dict.fromkeys(("q_on", "q_burden"), _MOSFET),
    **dict.fromkeys(("c_boost_out", "c_filter", "c_motor"), _PLUS_MINUS),
    **dict.fromkeys(("d_block", "d_boost", "d_feedback"), _DIODE),
    **dict.fromkeys(("clamp", "clamp_monitor", "d_bias"), _PAIR),
    **dict.fromkeys(
        (
            "suppressor",
            "suppressor_battery",
            "fuse_usb",
            "fuse_ground",
            "fuse_motor",
            "buzzer",
            "button",
            "home",
            "stop_switch",
        ),
        _TWO,
    ),
}
_PLAIN = {"clamp": _DIODE}  # two single diodes there
_BY_DIRECTION = {"output": "out", "input": "in", "analogue": "in", "I2C 0": "both"}
_EDGE_POWER = {36: "source", 40: "source", 35: "passive", 30: "in"}
_GROUNDS = (3, 8, 13, 18, 23, 28, 33, 38)


def kinds(piece: Piece, build: str) -> Mapping[str, str] | None:
    """Return the kind of each pin that a piece must have; None where nothing is known of its part."""
    if piece.ref == BOARD:
        return _board(build)
    if piece.ref == SOCKET:
        return {str(n): "passive" for n in range(1, (5 if build == "plain" else SOCKET_PINS) + 1)}
    own = _PLAIN.get(piece.key) if build == "plain" else None
    if piece.key.startswith(("r_", "c_", "l_")) or piece.key in ("burden", "bias"):
        own = own or _BY_KEY.get(piece.key, _TWO)
    text = own or _BY_KEY.get(piece.key)
    return dict(word.split(":") for word in text.split()) if text else None


def _board(build: str) -> dict[str, str]:
    found = {str(n): "none" for n in range(1, 41)}
    found |= {str(n): kind for n, kind in _EDGE_POWER.items()} | {str(n): "source" for n in _GROUNDS}
    return found | {
        str(EDGE[p.gpio]): _BY_DIRECTION[p.direction.split(",")[0].split(" with")[0]] for p in pins(build)
    }
