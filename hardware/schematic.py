"""Draws the schematic of each build from the parts table: `python -m hardware.schematic` writes the SVG files."""

from __future__ import annotations

import sys
from pathlib import Path

from hardware import schematic_blocks as draw
from hardware.schematic_drive import drive
from hardware.schematic_rail import monitor, rail
from hardware.schematic_sheet import Block, sheets
from hardware.schematic_supply import regulator, step_up, supply
from sweeprig.frontend import front_end
from sweeprig.frontend.tables import BUILDS

HERE = Path(__file__).parent


def file_of(build: str, page: int) -> Path:
    """Return where a page of the schematic of a build is kept, the first is 1."""
    return HERE / f"schematic-{build}-{page}.svg"


def blocks(build: str) -> list[Block]:
    """Return the drawings of a build, in their order."""
    found = (
        [draw.plain_input()] if build == "plain" else [draw.full_input(build), draw.burden_and_bias(build)]
    )
    found += [] if build == "plain" else [step_up(build), regulator(build)]
    found += [supply(build), rail(build)]
    if build != "plain":
        found += [draw.supplies(build), monitor(build), draw.operator(build), draw.ramp(build)]
    if build == "driven":
        found += [drive()]
    return found


def schematic(build: str) -> list[str]:
    """Return the schematic of a build, one SVG for each page of A4."""
    return sheets(front_end(build).title, blocks(build))


def main(builds: list[str]) -> int:
    """Write the files of the builds named, or of all."""
    for build in builds or BUILDS:
        for old in HERE.glob(f"schematic-{build}-*.svg"):
            old.unlink()
        for page, svg in enumerate(schematic(build), 1):
            file_of(build, page).write_text(svg, encoding="utf-8")
            print(file_of(build, page))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
