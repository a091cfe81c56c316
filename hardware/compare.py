"""Computed against simulated: one row for each figure, with the difference. `python -m hardware.compare`."""

from __future__ import annotations

import sys
from dataclasses import dataclass

from hardware.compare_battery import battery_rows
from hardware.compare_decoupling import decoupling_rows
from hardware.compare_faults import fault_rows, pulse_rows, tapped_rows
from hardware.compare_quality import quality_rows
from hardware.compare_ramp import ramp_rows
from hardware.compare_regulated import regulated_rows
from hardware.compare_rows import Compared
from hardware.compare_signal import signal_rows
from hardware.compare_supply import supply_rows
from sweeprig.errors import SweeprigError
from sweeprig.frontend.tables import BUILDS


@dataclass(frozen=True)
class Comparison:
    """All rows of one run."""

    rows: tuple[Compared, ...]

    @property
    def failed(self) -> tuple[Compared, ...]:
        """Rows whose simulated value is not where the computed one says."""
        return tuple(r for r in self.rows if not r.agrees)

    def text(self) -> str:
        """Return the table as aligned text."""
        cells = [Compared.HEAD, *(r.cells() for r in self.rows)]
        widths = [max(len(c[i]) for c in cells) for i in range(len(Compared.HEAD))]
        lines = ["  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip() for row in cells]
        return "\n".join([*lines, "", f"{len(self.rows)} figures, {len(self.failed)} do not agree."])


def compare(builds: tuple[str, ...] = ("plain", "full")) -> Comparison:
    """Run every comparison. The driven build's front end is the full build's."""
    rows: list[Compared] = []
    for build in builds:
        rows += signal_rows(build) + fault_rows(build) + pulse_rows(build) + tapped_rows(build)
        rows += ramp_rows(build) + supply_rows(build) + regulated_rows(build)
        rows += decoupling_rows(build) + battery_rows(build) + quality_rows(build)
    return Comparison(tuple(rows))


def main(arguments: list[str]) -> int:
    """Print the table; 1 where a figure does not agree."""
    try:
        result = compare(tuple(arguments) or ("plain", "full"))
    except SweeprigError as error:
        print(error, file=sys.stderr)
        return 2
    print(result.text())
    return 1 if result.failed else 0


if __name__ == "__main__":
    if unknown := set(sys.argv[1:]) - set(BUILDS):
        sys.exit(f"Builds are {', '.join(BUILDS)}, not {', '.join(sorted(unknown))}.")
    sys.exit(main(sys.argv[1:]))
