"""Take the firmware off a board again, and give the user's own main.py its name back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from sweeprig.bench.board.files import KEPT_MAIN, MAIN, PACKAGE, is_ours
from sweeprig.bench.board.install import Run, at_prompt, leave_service, run_mpremote


@dataclass(frozen=True)
class RemoveReport:
    """What was taken off the board at `port`."""

    port: str
    board: str
    removed: tuple[str, ...]
    put_back: bool  # the user's own main.py has its name again
    left: tuple[str, ...] = ()  # files in the firmware's folder that are not of it
    kept_main: bool = (
        False  # the user's first main.py stays under its other name, as another main.py is there
    )

    def lines(self) -> list[str]:
        """Return what to tell the operator."""
        out = [f"{self.board} on {self.port}", f"{len(self.removed)} files of the firmware removed."]
        if self.put_back:
            out.append(f"{KEPT_MAIN} is main.py again, and runs.")
        if self.kept_main:
            out.append(f"{KEPT_MAIN} keeps this name: main.py on the board is not the one of the firmware.")
        out += [f"{name} stays: it is not of the firmware." for name in self.left]
        return out if len(out) > 2 or self.removed else [out[0], "The board has no sweeprig firmware."]


def remove(
    port: str,
    *,
    progress: Callable[[str], None] = lambda _: None,
    run: Run = run_mpremote,
    leave: Callable[[str], None] = leave_service,
) -> RemoveReport:
    """Remove the firmware's folder and main.py; a main.py that is the user's own stays.

    Raises InputError for a simulated rig, LinkError where the board cannot be reached.
    """
    board = at_prompt(port, progress, run, leave)
    there = [name for name in board.files if name.startswith(f"{PACKAGE}/")]
    names = tuple(name for name in there if is_ours(name))
    left = tuple(name for name in there if name not in names)
    names += (MAIN,) if MAIN in board.files and board.own_main else ()
    back = KEPT_MAIN in board.files and board.own_main
    progress(f"removing {len(names)} files")
    run(["connect", port, "exec", _script(names, back), "+", "reset"])
    return RemoveReport(port, board.board, names, back, left, KEPT_MAIN in board.files and not back)


def _script(names: tuple[str, ...], back: bool) -> str:
    lines = ["import os", *(f"os.remove({'/' + name!r})" for name in names)]
    lines += [
        f"if '{PACKAGE}' in os.listdir('/') and not os.listdir('/{PACKAGE}'):",
        f"    os.rmdir('/{PACKAGE}')",
    ]
    lines += [f"os.rename('/{KEPT_MAIN}', '/{MAIN}')"] if back else []
    return "\n".join(lines) + "\n"
