"""Writes the plain build hole by hole: `python -m hardware.breadboard` writes drawings and page anew."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from pathlib import Path

from hardware.board.pieces import bought
from hardware.breadboard.draw import breadboard, perfboard_above, perfboard_below
from hardware.breadboard.plan import (
    BUILD,
    Hole,
    Step,
    is_hole,
    links,
    net_at,
    net_by_hole,
    piece,
    places,
    steps,
)
from hardware.breadboard.plan import table as table_of
from hardware.markdown import table
from hardware.places import measured
from hardware.values import part_value
from sweeprig.frontend.nets import SOCKET
from sweeprig.frontend.tables import Part, parts

HERE = Path(__file__).parent
MADE = "<!-- Made by `python -m hardware.breadboard` from hardware/breadboard/plan.toml. Change it there. -->"
_INTRO = (
    "A hole is a row and a column, as printed on the breadboard: a1 to j63. Rail strips: U+ and U- above (outer",
    "and inner), L- and L+ below (inner and outer), by the column they stand at. U+ is 3.3 V, U- and L- are ground,",
    "L+ is 5 V behind F1. Your strips may be coloured the other way round: what counts is outer and inner; mark",
    "them with tape. Colours of wires are free; 3.3 V red and ground black help.",
    "",
    "@strips",
    "",
    "The Pico class board stands in columns 1 to 20, its USB to the left: contacts 40 to 21 in row c, 1 to 20 in",
    "row h. TO-92 parts are drawn from above with their flat side; who looks at it sees pins 1, 2, 3 from left to",
    "right. Q1 stands with its metal to the lower edge. The band of a diode is at K. Parts in one row stand close:",
    "bend the legs, and let no bare leg touch another. Flat bridges may run under Q1 and Q2. A screw terminal whose",
    "pins do not go into the holes gets 1 cm of solid wire soldered to each pin.",
    "",
    "Where first power looks, a piece of bare solid wire of 0.6 mm, 2 cm long, goes into the free hole it names, and",
    "the meter's clip onto the wire: a meter's own tip does not go into a breadboard. Take the wire out again.",
    "",
    "The lines of first power named behind a step look at what that step added; their ranges are those of the whole",
    "rig. At the end run all of them once more, in order: lines 1 to 7 with the lead's wires out of the terminal,",
    "those of the supply sense (S), and of a signal that the lead joins to ground, with that wire out of it. Line 8,",
    "the port's own voltage, comes first of those with USB on. The Pico class board is plugged in before step 1, and",
    "the lead is made before step 7: its lines need it.",
    "",
    "![breadboard](breadboard.svg)",
)
_PERFORATED = (
    "The same places on a perforated board with a pad at each hole, 2.54 mm, at least 66 by 20 holes (180 x 120 mm",
    "has room). Rows: U+, U-, two free, a to e, two free, f to j, two free, L-, L+. Two socket strips of 20",
    "contacts hold the Pico class board, and the parts stand where they do on the breadboard. What the",
    "breadboard's strips join is joined below by bare tinned wire of 0.5 mm, soldered to every pin on it; bridges",
    "as listed above, insulated, on the component side. Those from column 31 to 33 may be one wire with their",
    "strips. Nothing runs under the Pico class board. A test compares the nets of both boards with the table.",
    "The lead is tied to the board's rim before its terminal: two holes of 3.2 mm, 8 mm apart.",
    "The wires reach the holes where first power puts the meter too: solder a loop of bare wire into each of them:",
    "",
    "@measured",
    "",
    "![perforated board from above](perfboard-above.svg)",
    "",
    "![perforated board from below](perfboard-below.svg)",
)


def strips_text() -> str:
    """Return where a rail strip has its holes, from the plan's own rule."""
    have = [c for c in range(1, int(table_of()["columns"]) + 1) if is_hole(Hole("U+", c))]
    firsts = [c for c in have if c - 1 not in have]
    groups = [(c, next(x for x in range(c, c + 99) if x + 1 not in have)) for c in firsts]
    split = int(table_of()["split_after"])
    first, second, last = (f"{a} to {b}" for a, b in (groups[0], groups[1], groups[-1]))
    text = (
        f"Each strip has {len(have)} holes in {len(groups)} groups of five: columns {first}, {second} and so on,",
        f"up to {last}.",
        "Where yours lie otherwise take the nearest free hole of the same strip on the same side of the middle.",
        f"Many boards part their strips after column {split}: the bridges of step 1 from {split} to {split + 2}",
        "join them, and do no harm where they are whole.",
    )
    return "\n".join(textwrap.wrap(" ".join(text), 110))


def _piece_rows(step: Step) -> list[tuple[str, ...]]:
    listed, rows = parts(BUILD), []
    for ref in step.places:
        p = piece(ref)
        value = "screw terminal, 5 ways" if ref == SOCKET else _what(listed[p.key])
        ends = ", ".join(_end(pin, str(places()[ref][pin]), net) for pin, net in p.pins.items())
        rows.append((ref, value, ends))
    return rows


def _what(part: Part) -> str:
    """Return the value of a resistor, capacitor or fuse, an example of the type of all else."""
    return (
        part_value(part) if part.unit.split()[0] in ("ohm", "F", "A") else str(bought(BUILD, part)["example"])
    )


def _end(pin: str, at: str, net: str) -> str:
    """Return a pin with its hole and net; pins of resistors have numbers only, which say nothing."""
    return f"{at} ({net})" if pin.isdigit() else f"{pin} {at} ({net})"


def _step(number: int, step: Step) -> list[str]:
    bridges = ", ".join(f"{w.a}-{w.b} ({net_by_hole()[w.a]})" for w in step.wires)
    check = "" if step.check == "-" else f" Then lines {step.check} of [first power](../first-power.md)."
    check = check.replace("lines as A", "the same lines as for channel A")
    return ["", f"### {number}. {step.title}", "", table(("part", "value", "holes and nets"), _piece_rows(step)), "",
            f"Bridges: {bridges}.{check}"]  # fmt: skip


def _perforated() -> list[str]:
    loops = ", ".join(f"{at} ({net_at(at)})" for at in measured())
    return [f"{loops}." if line == "@measured" else line for line in _PERFORATED]


def page() -> str:
    """Return the page: steps, parts by hole, bridges, and the wires of the perforated board."""
    out = [
        MADE,
        "# The plain build hole by hole",
        "",
        *(strips_text() if line == "@strips" else line for line in _INTRO),
        "",
        "## Steps",
    ]
    for number, step in enumerate(steps(), 1):
        out += _step(number, step)
    bare = ", ".join(f"{w.a}-{w.b}" for w in links(measured()))
    return "\n".join(
        [*out, "", "## On a perforated board", "", *_perforated(), "", f"Bare wires below: {bare}.", ""]
    )


FILES: dict[str, Callable[[], str]] = {
    "breadboard.svg": breadboard,
    "perfboard-above.svg": perfboard_above,
    "perfboard-below.svg": perfboard_below,
    "README.md": page,
}


def main() -> None:
    """Write every file."""
    for name, made in FILES.items():
        (HERE / name).write_text(made(), encoding="utf-8")
        print(HERE / name)
