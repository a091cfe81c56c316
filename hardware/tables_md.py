"""Writes the parts lists, wiring tables and figures as Markdown: `python -m hardware.tables_md`."""

from __future__ import annotations

import sys
from pathlib import Path

from hardware import cost, first_power, places, stress
from hardware.board.pieces import bought, buying
from hardware.compare_rows import shown
from hardware.figure import Figure
from hardware.figures import figures
from hardware.front_end import kept
from hardware.markdown import table
from hardware.nets_md import nets_md
from hardware.values import part_value
from hardware.wiring_md import wiring_md
from sweeprig.frontend import front_end
from sweeprig.frontend.tables import BUILDS, Part, parts

HERE = Path(__file__).parent
MADE = (
    "<!-- Made by `python -m hardware.tables_md` from host/sweeprig/frontend/parts.toml. Change it there. -->"
)


def _part_row(build: str, part: Part, found: stress.Stress) -> tuple[str, ...]:
    series = f", {part.series} in series" if part.series > 1 else ""
    row = bought(build, part)
    bears = f"{shown(found.most, found.unit)}{', in a fault' if found.fault else ''}"
    return (part.ref, str(part.count), f"{part.what}{series}", part_value(part), part.rating, bears,
            shown(found.left, found.unit), row["package"], row["example"], row["price"], part.reason)  # fmt: skip


def _part_rows(build: str) -> list[tuple[str, ...]]:
    """Return the rows of a build's parts; of the driven build those that the full build has not."""
    had, found = parts("full") if build == "driven" else {}, stress.stresses(build)
    return [_part_row(build, p, found[key]) for key, p in parts(build).items() if key not in had]


def parts_md() -> str:
    """Return the parts lists of all builds with their cost. The driven build is the full build and more."""
    head = ("ref", "pieces", "part", "value", "rating", "bears at most", "left of the rating at 50 °C",
            "package and pins", "for example", "price", "why")  # fmt: skip
    out = [MADE, "# Parts", "", *_PARTS_INTRO, "", table(("price class", "euro a piece"), _prices())]
    for build in ("plain", "full"):
        rows = _part_rows(build)
        out += ["", f"## {front_end(build).title}", "", table(head, rows), "", *_more(build)]
    out += [
        "",
        f"## {front_end('driven').title}",
        "",
        "Everything of the full build, both its tables, one more C10, and:",
        "",
    ]
    out += [table(head, _part_rows("driven")), "", *_more("driven"), ""]
    return "\n".join(out)


def _prices() -> list[tuple[str, ...]]:
    return [(name, f"{euro:.2f}") for name, euro in buying()["price"].items()]


def _more(build: str) -> list[str]:
    """Return what else a build needs beside its parts, its cost, and what not every rig needs."""
    found = [line for line in cost.more(build) if line.ref == "-"]
    listed = sum(line.total_eur for line in cost.more(build) if line.ref != "-")
    rows = [_buy(line) for line in found]
    if build == "driven":
        rows += [("", "everything of the full build", "", f"{cost.total_eur('full'):.2f}", "its two tables")]
    rows += [("", f"all parts of the table above{' and one C10' if build == 'driven' else ''}", "", f"{listed:.2f}",
              "pieces times price class"),
             ("", "**sum**", "", f"**{cost.total_eur(build):.2f}**", "`python -m hardware.cost`")]  # fmt: skip
    had = {line.what for line in cost.optional("full")} if build == "driven" else set()
    wanted = [_buy(line) for line in cost.optional(build) if line.what not in had]
    head = ("pieces", "what", "price", "euro", "remark")
    more = ["", "Not every rig needs these; they are in no sum:", "", table(head, wanted)] if wanted else []
    return ["And:", "", table(head, rows), *more]


def _buy(line: cost.Line) -> tuple[str, ...]:
    return (str(line.count), line.what, line.price_class, f"{line.total_eur:.2f}", line.package)


_PARTS_INTRO = (
    "Any make that keeps the value and the rating does. Types are generic numbers for example, packages and prices are",
    "from memory: look at the data sheet of what you hold, its pins first. A value is that of one piece,",
    "the tolerance its half-width. Ratings are what to buy to. Beside them stand the most that one piece bears here,",
    "in use or in a fault (35 or -14 V on a lead, the battery lead's events), and what is left of that rating at 50 °C",
    "by common practice (no source): film resistors all of their watts, class 2 ceramics half of their volts in use,",
    "other capacitors and chips 80 % of their volts, chips 70 % of their amperes, chokes 90 %, fuses 75 %, modules",
    "80 %; R13 and D8 by the length of their events, Q1 by its own figures. Most are bounds, above the truth.",
    "Values of semiconductors that only the models use stand in the table the list is made from.",
)


def _figure_row(row: Figure) -> tuple[str, ...]:
    return (row.name, row.value_str, row.limit, kept(row))


def figures_md() -> str:
    """Return what each build is and does. The driven build's front end is the full build's."""
    out = [MADE, "# Computed figures", "", *_FIGURES_INTRO]
    for build in BUILDS:
        out += ["", f"## {front_end(build).title}"]
        shown = {r.name for r in figures("full")} if build == "driven" else set()
        rows = [r for r in figures(build) if r.name not in shown]
        for group in dict.fromkeys(r.group for r in rows):
            chosen = [_figure_row(r) for r in rows if r.group == group]
            out += ["", f"### {group.capitalize()}", "", table(("figure", "value", "limit", ""), chosen)]
    return "\n".join([*out, ""])


_FIGURES_INTRO = (
    "Computed from the parts table (`python -m hardware.front_end`). `python -m hardware.compare` runs ngspice on a",
    "netlist of the same table and prints computed and simulated values with their difference. Nothing here was",
    "measured on a built rig. The driven build's front end is that of the full build. What follows from a limit",
    "that is NOT kept, the sum in the tap ground, stands in [build](build.md#the-sum-in-the-tap-ground).",
)


def first_power_md() -> str:
    """Return the checks with a multimeter."""
    out = [MADE, "# First power", "", *_FIRST_POWER_INTRO]
    head = ("no", "state", "where", "right", "otherwise look at")
    for build in ("plain", "full"):
        out += ["", f"## {front_end(build).title}", "", *_states(build)]
        out += ["", table(head, first_power.rows(build))]
        where = "a hole of the breadboard that is free" if build == "plain" else "on the printed board"
        out += ["", table(("place", where), places.rows(build)), "", *_PROBING[build]]
    return "\n".join([*out, ""])


def _states(build: str) -> list[str]:
    states = [(first_power.ON, first_power.release_command(build))]
    states += [(first_power.SUPPLY_ON, first_power.switch_command(on=True))]
    off = ("supply off again", first_power.switch_command(on=False))
    states += [off] if build == "plain" else first_power.state_commands()
    lines = []
    for state, command in states:
        lines += [f"{state}:", "", f"    {command}", ""]
    return lines[:-1]


_FIRST_POWER_INTRO = (
    "With a multimeter, from top to bottom; a reading outside its range stops the work until it is found. The",
    f"ranges are those of {first_power.DRAWN} right rigs, simulated with parts all over their tolerance, 15 to 35 C,",
    "any USB port and meters of 1 % with the usual test currents, a little wider. A test draws 1000 others, which all",
    "pass, and 20 rigs with each of many mistakes, which are stopped at a line that names the part. They do not come",
    "from a built rig. The driven build has the full build's checks; A1, U4 and S2 unplugged, and its own in build.md.",
    "",
    "The board has MicroPython on it and not yet our firmware. For resistance and diodes the meter's plus goes where",
    "the table says. The commands for the states stand over each table, for the computer at the board. Each names only",
    "what it changes: a pin keeps what a command set, over the next `mpremote` too, until USB is out (from memory).",
    'Current through the meter and GP3 "during that" need no second meter: read the current first, then a wire makes',
    "the short for the second reading, 5 s at most, with the meter on GP3.",
)

_PROBING = {
    "plain": (
        "The meter's tips do not go into holes: put 2 cm of bare solid wire of 0.6 mm into the hole and clip onto it.",
        "On a perforated board a loop of wire is soldered in at each of these places.",
        "",
        "A signal lead is A, B or the supply sense (channel S): lines 6, 16, 17 and 18 are made three times. For S the",
        "supply sense is not yet joined to the supply lead; line 12 is made with both joined.",
    ),
    "full": (
        "A contact of the socket is probed at the far end of the lead that has it, or by 2 cm of solid wire of 1 mm in",
        "the socket, put in with USB out. Never press a meter's tip into it: it spreads the contact.",
        "",
        "A signal lead is A, B or the supply sense (channel S): lines 6, 18, 19 and 20 are made three times. For S no",
        "lead is in: the powered one joins contacts 1 and 2 at its end, and R63 and R64 then stand beside R2.",
        "",
        "| lines | lead in the socket |",
        "|---|---|",
        "| 1 to 8 | none; line 7 has contact 7, line 8 contact 6 on a wire |",
        "| 9 to 27 | the powered lead, open at its far end but for its own joints (1 to 2); of 18 to 20 for S: none |",
        "| 28 | the powered lead: its wire 8 is on its ground (5); without one a wire from contact 8 to 5 |",
        "| 29 | the tap lead (the powered one has no wire 9): battery plus on contact 9, its minus on contact 6 |",
        "",
        "Line 15: wait three seconds, while the meter charges C65 through R66.",
    ),
}

FILES = {
    "parts.md": parts_md,
    "wiring.md": lambda: wiring_md(MADE),
    "figures.md": figures_md,
    "first-power.md": first_power_md,
    "nets.md": lambda: nets_md(MADE),
}


def main() -> int:
    """Write every file."""
    for name, made in FILES.items():
        (HERE / name).write_text(made(), encoding="utf-8")
        print(HERE / name)
    return 0


if __name__ == "__main__":
    sys.exit(main())
