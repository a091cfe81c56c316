"""Draws the schematic of each build from the parts table: `python -m hardware.schematic` writes the SVG files."""

from __future__ import annotations

import sys
from pathlib import Path

from hardware import schematic_blocks as draw
from hardware.schematic_rail import monitor, rail
from hardware.schematic_sheet import sheet
from hardware.schematic_supply import regulator, step_up, supply
from sweeprig.frontend import front_end
from sweeprig.frontend.tables import BUILDS

HERE = Path(__file__).parent


def file_of(build: str) -> Path:
    """Return where the schematic of a build is kept."""
    return HERE / f"schematic-{build}.svg"


def schematic(build: str) -> str:
    """Return the schematic of a build as SVG."""
    blocks = (
        [draw.plain_input()] if build == "plain" else [draw.full_input(build), draw.burden_and_bias(build)]
    )
    blocks += [] if build == "plain" else [step_up(build), regulator(build)]
    blocks += [supply(build), rail(build)]
    if build != "plain":
        blocks += [monitor(build), draw.operator(build), draw.ramp(build)]
    if build == "driven":
        blocks += [draw.drive()]
    return sheet(front_end(build).title, blocks)


def main(builds: list[str]) -> int:
    """Write the files of the builds named, or of all."""
    for build in builds or BUILDS:
        file_of(build).write_text(schematic(build), encoding="utf-8")
        print(file_of(build))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
