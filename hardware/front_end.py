"""Prints what a build is and does: `python -m hardware.front_end full`. All from sweeprig.frontend."""

from __future__ import annotations

import sys

from hardware.figure import Figure
from hardware.figures import figures
from sweeprig.errors import SweeprigError
from sweeprig.frontend import front_end
from sweeprig.frontend.tables import BUILDS


def text(build: str) -> str:
    """Return the figures of a build as aligned text."""
    rows = figures(build)
    name_w = max(len(r.name) for r in rows)
    value_w = max(len(r.value_str) for r in rows)
    lines, group = [front_end(build).title], ""
    for row in rows:
        if row.group != group:
            group = row.group
            lines += ["", group]
        lines.append(
            f"  {row.name.ljust(name_w)}  {row.value_str.rjust(value_w)}  {row.limit}  {kept(row)}".rstrip()
        )
    return "\n".join(lines)


def kept(row: Figure) -> str:
    """Return whether the figure keeps its limit, in one word."""
    return {None: "", True: "holds", False: "NOT kept"}[row.holds]


def main(builds: list[str]) -> int:
    """Print the builds that are named, or all."""
    try:
        print("\n\n".join(text(b) for b in builds or BUILDS))
    except SweeprigError as error:
        print(error, file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
