"""Makes the printed board anew: `python -m hardware.board`. Needs KiCad 6 (Debian 12: kicad, kicad-footprints).

KiCad's own Python places the pieces; once the router has run, it fills the planes, checks and writes the
maker's files.
"""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from hardware.board import kept, picture, router

KICAD_PYTHON = os.environ.get("KICAD_PYTHON", "/usr/bin/python3")


def _kicad(*arguments: str) -> None:
    subprocess.run([KICAD_PYTHON, "-m", "hardware.board.make", *arguments], check=True, cwd=kept.ROOT)


def _tracks(plan: Path) -> Path:
    """Route the board, unless it was routed from the same plan before."""
    path, digest = kept.MADE / "tracks.json", hashlib.sha256(plan.read_bytes()).hexdigest()
    if not path.exists() or json.loads(path.read_text("utf-8"))["plan"] != digest:
        found = router.routed(json.loads(plan.read_text("utf-8")))
        path.write_text(json.dumps({"plan": digest, **found}), encoding="utf-8")
    return path


def main() -> int:
    """Write everything under hardware/board/made; 1 where the checks find an error."""
    os.environ["PYTHONPATH"] = ":".join(str(kept.ROOT / folder) for folder in ("", "host", "firmware"))
    kept.MADE.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        plan = Path(folder) / "plan.json"
        _kicad("place", str(plan))
        _kicad("finish", str(_tracks(plan)), str(kept.BOARD))
    for side in picture.SIDES:
        (kept.MADE / f"{side}.svg").write_text(picture.picture(kept.BOARD, side), encoding="utf-8")
    kept.write()
    wrong = kept.wrong()
    print("\n".join(wrong) or "no error, every net joined")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
