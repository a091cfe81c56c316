"""The Pythons that the firmware runs under, and one script of its tests run by either."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Sequence
from pathlib import Path

from sweeprig.twin.machines import find_micropython, firmware_folder

CASES = Path(__file__).parents[1] / "firmware"  # folders of what runs under both
WITHOUT_END_S = 600.0  # a script that hangs; a good one never comes near it


def micropython() -> str:
    """Return MicroPython's unix port; for tests that are marked as needing it."""
    found = find_micropython()
    assert found
    return found


def path_of(folders: Sequence[Path]) -> dict[str, str]:
    """Return the environment in which both Pythons find the firmware and the modules of some folders."""
    path = os.pathsep.join(str(folder) for folder in (firmware_folder(), *folders))
    return os.environ | {"MICROPYPATH": path, "PYTHONPATH": path}


def printed(python: str, script: Path, *words: object, beside: Sequence[Path] = (), heap: str = "") -> str:
    """Return what a script prints; it finds the firmware, its own folder and those `beside`. `heap` of MicroPython."""
    more = ["-X", f"heapsize={heap}"] if heap and "micropython" in python else []
    done = subprocess.run(
        [python, *more, str(script), *map(str, words)],
        env=path_of((script.parent, *beside)),
        capture_output=True,
        text=True,
        timeout=WITHOUT_END_S,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout
