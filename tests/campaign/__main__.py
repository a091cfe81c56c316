"""Run the campaign: `python -m tests.campaign [NAME ...] [--tries N] [--seconds S] [--seed N]`.

Status 1 where anything was lost.
"""

from __future__ import annotations

import argparse
import importlib
import os
import pkgutil
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "host"), str(ROOT / "firmware")]

import tests.campaign as here  # noqa: E402
from tests.campaign.databases import CLOSE  # noqa: E402
from tests.campaign.tally import Attack, lines, run  # noqa: E402


def attacks() -> dict[str, Attack]:
    """Return the attacks of all modules of this package, by name."""
    found: dict[str, Attack] = {}
    for module in pkgutil.iter_modules(here.__path__):
        if module.name != "__main__":
            found |= getattr(importlib.import_module(f"tests.campaign.{module.name}"), "ATTACKS", {})
    return found


def main() -> int:
    """Run what is named, else all; print the table."""
    known = attacks()
    parser = argparse.ArgumentParser(prog="python -m tests.campaign")
    parser.add_argument("names", nargs="*", metavar="NAME", help=", ".join(known))
    parser.add_argument("--tries", type=int, default=100, help="of each attack")
    parser.add_argument("--seconds", type=float, default=120.0, help="longest time for each attack")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    if strangers := [name for name in asked.names if name not in known]:
        parser.error(f"no attack {', '.join(strangers)}: there are {', '.join(known)}")
    done = []
    for name in asked.names or known:
        with tempfile.TemporaryDirectory(prefix="campaign-") as folder:
            os.environ["SWEEPRIG_HOME"] = str(Path(folder) / "home")
            limits = {"tries": asked.tries, "seconds": asked.seconds, "seed": asked.seed}
            done.append(run(name, known[name], Path(folder), **limits))
            print(done[-1].line, file=sys.stderr, flush=True)
    for close in CLOSE:
        close()
    print("\n".join(lines(done)))
    return int(any(tally.losses for tally in done))


if __name__ == "__main__":
    raise SystemExit(main())
