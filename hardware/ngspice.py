"""Runs ngspice in batch mode on a netlist and returns what it printed."""

from __future__ import annotations

import re
import subprocess
import tempfile
from pathlib import Path

from sweeprig.errors import InputError

PROGRAM = "ngspice"
VALUE = re.compile(r"^\s*([a-z_][\w().#\[\]]*)\s*=\s*([-+]?\d[\d.]*(?:e[-+]?\d+)?)", re.I | re.M)
EXACT = ".options reltol=1e-6 abstol=1e-14 vntol=1e-9 gmin=1e-15"
QUICK = ".options reltol=1e-4 abstol=1e-10 vntol=1e-6 method=gear"  # for edges of nanoseconds


def _ngspice(path: Path, timeout_s: float) -> subprocess.CompletedProcess[str]:
    try:
        return subprocess.run(
            [PROGRAM, "-b", str(path)],
            capture_output=True,
            text=True,
            timeout=timeout_s,
            check=False,
            cwd=path.parent,
        )
    except FileNotFoundError:
        raise InputError(
            "The circuit simulator was not found.",
            seen=f"no program named {PROGRAM}",
            limit="ngspice 39 or later",
            next_step="Install it: apt-get install ngspice.",
        ) from None
    except subprocess.TimeoutExpired:
        raise InputError(
            "The circuit simulator did not come to an end.",
            seen=f"{timeout_s:g} s",
            limit="a few seconds",
            next_step="Try again on an idle machine; then look at the netlist.",
        ) from None


def run(circuit: str, *commands: str, timeout_s: float = 60.0, options: str = EXACT) -> dict[str, float]:
    """Run the commands on the circuit; return every `name = value` that was printed, names in lower case.

    Raises InputError with ngspice's own words where it gives none.
    """
    text = "\n".join([circuit, options, ".control", *commands, ".endc", ".end", ""])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rig.cir"
        path.write_text(text, encoding="utf-8")
        done = _ngspice(path, timeout_s)
    found = {m[1].lower(): float(m[2]) for m in VALUE.finditer(done.stdout)}
    wanted = [c.split()[1].lower() for c in commands if c.startswith("print ")]
    missing = [w for w in wanted if w not in found]
    if missing:
        raise InputError(
            f"ngspice gave no value for {', '.join(missing)}.",
            seen=(done.stderr or done.stdout).strip()[-600:],
            limit="a value for each printed name",
            next_step="Run the netlist by hand: python -m hardware.netlist prints it.",
        )
    return found
