"""What is kept of the printed board, what it was made from, and what is wrong with it. No KiCad here."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import sys
from collections import defaultdict
from pathlib import Path

from hardware.board import copper
from hardware.board.pieces import BUILD, Placed, bought, pad_nets, placed
from sweeprig.frontend.nets import pieces
from sweeprig.frontend.tables import parts

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
MADE = HERE / "made"
BOARD = MADE / "rig.kicad_pcb"
REPORT = MADE / "rig.drc.txt"
LIST = MADE / "made-from.json"
VALUED = ("ohm", "F", "H", "A")  # pieces that are bought by value, not by type
MODULES = ("rules", "silk", "make", "files", "router", "grid", "plane", "search")
SOURCES = ("placement.toml", *(f"{name}.py" for name in MODULES))


def inputs() -> str:
    """Return the digest of all that the board is made from: the pieces with their nets, the placement, the scripts."""
    found = hashlib.sha256(json.dumps([vars(p) for p in placed()], sort_keys=True, default=dict).encode())
    for name in SOURCES:
        found.update((HERE / name).read_bytes())
    return found.hexdigest()


def outputs() -> dict[str, str]:
    """Return the digest of every kept file."""
    files = sorted(p for p in MADE.rglob("*") if p.is_file() and p != LIST)
    return {str(p.relative_to(MADE)): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


def bom() -> str:
    """Return the list of pieces as CSV: what each must be and bear, its footprint, the smallest build that has it."""
    rows: dict[tuple[str, ...], list[str]] = defaultdict(list)
    for p in placed():
        if not p.ref.startswith("TP"):
            rows[_bom_row(p)].append(p.ref)
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["quantity", "references", *BOM_COLUMNS])
    for row, refs in rows.items():
        table.writerow([len(refs), " ".join(refs), *row])
    return out.getvalue()


BOM_COLUMNS = ("value", "tolerance", "rating", "part", "example", "package", "price", "footprint", "build")
CONNECTORS = {  # of the socket and the Pico class board's strips: what, package, price class as in buying.toml
    "X1": ("D-sub socket, 15 contacts, angled, for the board", "rows 2.84 mm apart, contacts 2.77 mm", "D"),
    "BOARDL": ("socket strip, 20 contacts, 2.54 mm", "one row, upright", "C"),
    "BOARDR": ("socket strip, 20 contacts, 2.54 mm", "one row, upright", "C"),
}


def _bom_row(piece: Placed) -> tuple[str, ...]:
    part = (
        parts(BUILD).get({p.ref: p.key for p in pieces(BUILD)}[piece.ref])
        if piece.ref not in CONNECTORS
        else None
    )
    if part is None:
        what, package, price = CONNECTORS[piece.ref]
        return ("", "", "", what, "", package, price, piece.footprint, piece.fitted)
    row = bought(BUILD, part)
    valued = part.unit.split()[0] in VALUED
    tolerance = f"{100 * part.tol:g} %" if valued and part.tol else ""
    return (piece.value if valued else "", tolerance, part.rating, part.what, str(row["example"]), row["package"],
            row["price"], piece.footprint, piece.fitted)  # fmt: skip


def write() -> None:
    """Write the list of pieces and what everything was made from."""
    (MADE / "bom.csv").write_text(bom(), encoding="utf-8")
    LIST.write_text(json.dumps({"inputs": inputs(), "files": outputs()}, indent=1) + "\n", encoding="utf-8")


def stale() -> list[str]:
    """Return what is not as it was made: sources that have changed since, files that somebody has touched."""
    kept = json.loads(LIST.read_text("utf-8"))
    out = [] if kept["inputs"] == inputs() else ["the board's sources have changed since it was made"]
    now = outputs()
    names = sorted(set(now) | set(kept["files"]))
    return out + [f"{n} is not the file that was made" for n in names if now.get(n) != kept["files"].get(n)]


def wrong() -> list[str]:
    """Return what is wrong with the board: errors of KiCad's check, and nets that its copper does not join."""
    return checked(REPORT.read_text("utf-8")) + differences(copper.nets(BOARD))


def checked(report: str) -> list[str]:
    """Return the errors in KiCad's report; warnings (print over print) are counted elsewhere."""
    errors = [m[0].strip() for m in re.finditer(r"^\[\w+\]:.*\n.*Severity: error", report, re.M)]
    ended = "** End of Report **" in report
    return errors if ended else [*errors, "the report does not come to its end"]


def warnings(report: str) -> dict[str, int]:
    """Return how many warnings of each kind KiCad's report has."""
    found: dict[str, int] = defaultdict(int)
    for m in re.finditer(r"^\[(\w+)\]:.*\n.*Severity: warning", report, re.M):
        found[m[1]] += 1
    return dict(found)


def differences(groups: list[set[tuple[str, str]]]) -> list[str]:
    """Return where what the copper joins differs from the table of nets."""
    want, by_pad = pad_nets(), {}
    for group in groups:
        for pad in group:
            by_pad[pad] = by_pad.get(pad, set()) | group
    out = []
    for net, pads in sorted(want.items()):
        got = set().union(*(by_pad.get(pad, set()) for pad in pads))
        lost = [pad for pad in sorted(pads) if not pads <= by_pad.get(pad, set())]
        if lost:
            out.append(f"{net} is not one piece of copper: {lost[:4]}")
        if got - pads:
            out.append(f"{net} is joined to {sorted(got - pads)[:4]}")
    return out


def main() -> int:
    """Write the list of pieces anew, where only what is bought has changed; 1 where the board itself is stale."""
    if json.loads(LIST.read_text("utf-8"))["inputs"] != inputs():
        print("The board's sources have changed since it was made. Run make board.")
        return 1
    write()
    return 0


if __name__ == "__main__":
    sys.exit(main())
