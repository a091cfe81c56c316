"""What a build costs: quantities of parts.toml times the price classes of buying.toml. `python -m hardware.cost`."""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace

from hardware.board.pieces import bought, buying
from sweeprig.frontend.tables import BUILDS, check_build, parts


@dataclass(frozen=True)
class Line:
    """One line of what to buy."""

    ref: str
    what: str
    count: int
    package: str
    example: str
    price_class: str
    each_eur: float

    @property
    def total_eur(self) -> float:
        """Price of all pieces of the line."""
        return self.count * self.each_eur


def lines(build: str) -> list[Line]:
    """Return every line of a build: the parts of the table, then what the table has not."""
    price = buying()["price"]
    out = []
    for part in parts(check_build(build)).values():
        row = bought(build, part)
        each = float(price[row["price"]])
        out.append(Line(part.ref, part.what, part.count, row["package"], row["example"], row["price"], each))
    for row in buying()["extra"]:
        if build in row["builds"]:
            each = float(price[row["price"]])
            out.append(Line("-", row["what"], int(row["count"]), row["note"], "", row["price"], each))
    return out


def more(build: str) -> list[Line]:
    """Return what the full build has not and the driven build adds to it; of any other build all."""
    had = [*lines("full")] if build == "driven" else []
    out = []
    for line in lines(build):
        before = next((x for x in had if (x.ref, x.what) == (line.ref, line.what)), None)
        if before is None:
            out.append(line)
        elif line.count > before.count:
            out.append(replace(line, count=line.count - before.count))
    return out


def optional(build: str) -> list[Line]:
    """Return what not every rig of a build needs; it is in no sum."""
    price = buying()["price"]
    rows = [row for row in buying()["optional"] if check_build(build) in row["builds"]]
    return [
        Line("-", r["what"], int(r["count"]), r["note"], "", r["price"], float(price[r["price"]]))
        for r in rows
    ]


def total_eur(build: str) -> float:
    """Return the sum of a build's lines."""
    return sum(line.total_eur for line in lines(build))


def main() -> int:
    """Print the cost of each build."""
    for build in BUILDS:
        found = lines(build)
        print(
            f"{build}: {len(found)} lines, {sum(x.count for x in found)} pieces, {total_eur(build):.2f} euro"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
