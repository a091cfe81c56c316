"""A folder that stands in for a board, so that an installation can be tried without one."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from sweeprig.bench.board.files import KEPT_MAIN, MAIN, PACKAGE
from sweeprig.bench.board.install import ASK_BOARD
from sweeprig.errors import FileError

NAME = "the simulated board"
REMOVES = re.compile(r"os\.remove\('/([^']+)'\)")
RENAMES = re.compile(r"os\.rename\('/([^']+)', '/([^']+)'\)")


def _steps(arguments: Sequence[str]) -> list[list[str]]:
    """Return the steps of one call, which a + parts."""
    steps: list[list[str]] = [[]]
    for word in arguments:
        if word == "+":
            steps.append([])
        else:
            steps[-1].append(word)
    return steps


@dataclass(frozen=True)
class SimulatedBoard:
    """Does to a folder what mpremote would do to a board."""

    folder: Path

    def run(self, arguments: Sequence[str]) -> str:
        """Do the steps of one call of mpremote; return what it would have printed."""
        said = ""
        for words in _steps(arguments[2:]):
            if words[:2] == ["fs", "cp"]:
                self._at(words[3].removeprefix(":/")).write_bytes(Path(words[2]).read_bytes())
            elif words[0] == "exec":
                said += self._exec(words[1])
        return said

    def leave(self, _port: str) -> None:
        """Go to its prompt: it is there."""

    def _at(self, name: str) -> Path:
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists() and not (path.is_file() or path.is_dir()):  # a pipe keeps us waiting
            raise FileError(
                f"{path} is not a regular file.",
                seen="a pipe or a device",
                limit="a regular file, or none",
                next_step="remove it, or move the folder away: it is made again",
            )
        return path

    def _exec(self, script: str) -> str:
        if script == ASK_BOARD:
            return f"BOARD{json.dumps(self._about())}\n"
        for name in REMOVES.findall(script):
            self._at(name).unlink(missing_ok=True)
        for before, after in RENAMES.findall(script):
            if self._at(before).exists():
                self._at(before).rename(self._at(after))
        return ""

    def _about(self) -> dict[str, object]:
        names = [MAIN, KEPT_MAIN, *(f"{PACKAGE}/{p.name}" for p in sorted((self.folder / PACKAGE).glob("*")))]
        found = {n: self._at(n).read_bytes() for n in names if self._at(n).is_file()}
        return {
            "mpy": 0,
            "python": "no MicroPython: a folder of this computer",
            "platform": "rp2",
            "board": "SIMULATED board",
            "own_main": b"sweepboard" in found.get(MAIN, b"sweepboard"),
            "files": {n: hashlib.sha256(data).hexdigest() for n, data in found.items()},
        }
