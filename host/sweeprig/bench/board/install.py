"""Put the firmware that comes with this program on a board, with mpremote, and check what is there by hash."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sweeprig.bench.board.files import (
    KEPT_MAIN,
    MAIN,
    MOVED,
    PACKAGE,
    BoardFiles,
    Difference,
    difference,
    find_compiler,
    is_ours,
    wanted_files,
)
from sweeprig.errors import InputError, LinkError, NoFirmwareError

MPREMOTE_TIMEOUT_S = 180.0
Run = Callable[[Sequence[str]], str]
"""Runs mpremote with arguments and returns what it printed; LinkError where it failed."""

ASK_BOARD = """
import hashlib, json, os, sys
def digest(path):
    h = hashlib.sha256()
    with open(path, "rb") as f:
        while True:
            part = f.read(512)
            if not part:
                return "".join("%02x" % b for b in h.digest())
            h.update(part)
found = {}
for folder in ("", "sweepboard/"):
    try:
        names = os.listdir("/" + folder)
    except OSError:
        names = []
    for name in names:
        if folder or name in ("main.py", "main_before_sweeprig.py"):
            try:
                found[folder + name] = digest("/" + folder + name)
            except OSError:
                pass
def starts_us():
    try:
        with open("/main.py", "rb") as f:
            return b"sweepboard" in f.read(2048)
    except OSError:
        return True
about = {"mpy": getattr(sys.implementation, "_mpy", 0), "python": sys.version, "files": found}
about["platform"], about["own_main"] = sys.platform, starts_us()
about["board"] = getattr(sys.implementation, "_machine", sys.platform)
print("BOARD" + json.dumps(about))
"""


@dataclass(frozen=True)
class InstallReport:
    """What was found on the board and what was done."""

    port: str
    board: str  # as the board names itself
    python: str  # version of MicroPython there
    compiled: bool  # the board holds .mpy files; else sources
    same: bool  # the board's firmware equals ours, at the end
    checked_only: bool
    copied: tuple[str, ...] = ()
    removed: tuple[str, ...] = ()
    unchanged: int = 0
    differs: tuple[str, ...] = ()  # found by a check, with what is the matter
    moved: tuple[str, ...] = ()  # files of the user's, where they are now
    kept_main: str = ""  # the name under which the user's own main.py was kept

    def lines(self) -> list[str]:
        """Return what to tell the operator."""
        form = "compiled files" if self.compiled else "source files"
        out = [f"{self.board}, {self.python}, on {self.port}"]
        if self.checked_only:
            if self.same:
                return [
                    *out,
                    f"The firmware matches this program: {self.unchanged} {form}, all hashes equal.",
                ]
            return [*out, "The firmware differs from this program:", *self.differs, "Next: sweeprig install"]
        out += [f"copied {name}" for name in self.copied] + [f"removed {name}" for name in self.removed]
        out += [f"a file that is not of the firmware is now {name}" for name in self.moved]
        if self.kept_main:
            out.append(f"your main.py is now {self.kept_main}; `sweeprig install --remove` puts it back")
        done = f"{len(self.copied)} copied, {len(self.removed)} removed, {self.unchanged} unchanged"
        return [*out, f"{done}; {form}, all hashes equal. The rig has been started."]


def run_mpremote(arguments: Sequence[str]) -> str:
    """Run mpremote in this Python; return what it printed. LinkError where it failed or took too long."""
    command = [sys.executable, "-m", "mpremote", *arguments]
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, timeout=MPREMOTE_TIMEOUT_S, check=False
        )
    except subprocess.TimeoutExpired as exc:
        raise LinkError(
            "mpremote does not finish.",
            seen=f"nothing for {MPREMOTE_TIMEOUT_S:.0f} s",
            next_step="unplug the board, plug it in again and repeat; it is safe to repeat",
        ) from exc
    if done.returncode:
        said = (done.stderr.strip() or done.stdout.strip()).splitlines()
        raise LinkError(
            "mpremote fails.",
            seen=said[-1] if said else f"exit status {done.returncode}",
            next_step="close other programs that use the port, plug the board in again and repeat",
        )
    return done.stdout


def ask_board(port: str, run: Run) -> BoardFiles:
    """Ask the board at its prompt for its version and the hashes of its files. LinkError."""
    printed = run(["connect", port, "exec", ASK_BOARD])
    line = next((line for line in printed.splitlines() if line.startswith("BOARD")), None)
    if line is None:
        raise LinkError(
            f"The board on {port} does not answer at its prompt.",
            seen=printed.strip()[-200:] or "nothing",
            next_step="hold the rig's button (or join GP11 to ground), plug the board in again and repeat",
        )
    return BoardFiles(**json.loads(line.removeprefix("BOARD")))


def leave_service(port: str) -> None:
    """Ask a rig that runs our firmware for its prompt; a board without it is at its prompt already."""
    from sweeprig.link.client import RigClient
    from sweeprig.link.transport import open_port

    client = RigClient(open_port(port))
    try:
        client.hello()
        client.command("prompt")
    except LinkError as error:
        if not isinstance(error, NoFirmwareError) and not _means_no_service(error):
            raise
    finally:
        client.close()


def _means_no_service(error: LinkError) -> bool:
    """Return whether an error only says that the service is not there, or is of another version."""
    from sweeprig.errors import BoardRefusedError, BoardSilentError, ProtocolVersionError

    return isinstance(error, BoardSilentError | ProtocolVersionError | BoardRefusedError)


def _copy(
    port: str,
    names: Sequence[str],
    wanted: Mapping[str, bytes],
    stale: Sequence[str],
    run: Run,
    *,
    board: BoardFiles,
    keep: bool,
) -> None:
    """Remove or move away `stale`, then copy `names`, main.py last: until then the board starts its former program.

    `keep`: the present main.py is the user's own and is renamed first.
    """
    prepare = f"import os\nif '{PACKAGE}' not in os.listdir('/'):\n    os.mkdir('/{PACKAGE}')\n"
    prepare += "".join(f"os.remove({'/' + name!r})\n" for name in stale if is_ours(name))
    if not all(map(is_ours, stale)):
        prepare += f"if '{MOVED}' not in os.listdir('/'):\n    os.mkdir('/{MOVED}')\n"
        prepare += "".join(
            f"os.rename({'/' + name!r}, {'/' + moved_to(name, board)!r})\n"
            for name in stale
            if not is_ours(name)
        )
    with tempfile.TemporaryDirectory() as folder:
        steps: list[str] = ["exec", prepare]
        for name in sorted(names, key=lambda name: name == MAIN):
            local = Path(folder) / name.replace("/", "_")
            local.write_bytes(wanted[name])
            if name == MAIN and keep:
                steps += ["+", "exec", f"import os\nos.rename('/{MAIN}', '/{KEPT_MAIN}')\n"]
            steps += ["+", "fs", "cp", str(local), f":/{name}"]
        run(["connect", port, *steps])


def moved_to(name: str, board: BoardFiles) -> str:
    """Return where a file of the user's goes: no other content has that name."""
    return f"{MOVED}/{board.files[name][:8]}_{name.rpartition('/')[2]}"


def install(
    port: str,
    *,
    check: bool = False,
    progress: Callable[[str], None] = lambda _: None,
    run: Run = run_mpremote,
    leave: Callable[[str], None] = leave_service,
    compiler: Callable[[], str | None] = find_compiler,
) -> InstallReport:
    """Put our firmware on the board at `port`, or with `check` only compare; safe to repeat.

    Only files that differ are copied; others in our folder are removed where they are
    modules of ours in another form, else moved to another folder; all hashes are read back.
    At the end the board is reset, so that it runs the new files.

    Raises InputError for a simulated rig, LinkError where the board cannot be reached or does not hold
    afterwards what it should.
    """
    board = at_prompt(port, progress, run, leave)
    wanted, is_compiled = wanted_files(board, compiler())
    found = difference({n: h for n, h in board.files.items() if n != KEPT_MAIN}, wanted)
    about: dict[str, Any] = {
        "port": port,
        "board": board.board,
        "python": board.python,
        "compiled": is_compiled,
        "unchanged": found.unchanged,
    }
    if check:
        run(["connect", port, "reset"])
        return InstallReport(**about, same=found.none, checked_only=True, differs=found.lines())
    changes = (*found.missing, *found.other)
    if not found.none:
        _put(port, board, wanted, found, run=run, progress=progress)
    run(["connect", port, "reset"])
    kept = "" if board.own_main else KEPT_MAIN
    return InstallReport(
        **about,
        same=True,
        checked_only=False,
        copied=changes,
        removed=tuple(filter(is_ours, found.stale)),
        moved=tuple(moved_to(name, board) for name in found.stale if not is_ours(name)),
        kept_main=kept,
    )


def _put(
    port: str,
    board: BoardFiles,
    wanted: Mapping[str, bytes],
    found: Difference,
    *,
    run: Run,
    progress: Callable[[str], None],
) -> None:
    """Copy what differs and read all hashes back; the user's own main.py is kept. InputError, LinkError."""
    keep = not board.own_main
    if keep and KEPT_MAIN in board.files:
        raise _two_mains()
    changes = (*found.missing, *found.other)
    progress(f"copying {len(changes)} files")
    _copy(port, changes, wanted, found.stale, run, board=board, keep=keep)
    progress("reading the hashes back")
    _verify(port, wanted, run)


def at_prompt(
    port: str, progress: Callable[[str], None], run: Run, leave: Callable[[str], None]
) -> BoardFiles:
    """Get the board to its prompt and ask it for its files. InputError for a simulated rig, LinkError."""
    if port.startswith("sim://"):
        raise InputError("A simulated rig has no files to install.", next_step="name the board with --port")
    progress("asking for the prompt")
    leave(port)
    return ask_board(port, run)


def _two_mains() -> InputError:
    return InputError(
        "The board has its own main.py and an older copy kept before.",
        seen=f"{MAIN} and {KEPT_MAIN}",
        limit="one of them",
        next_step=f"copy {KEPT_MAIN} off the board and remove it: mpremote fs rm :{KEPT_MAIN}; then repeat",
    )


def _verify(port: str, wanted: Mapping[str, bytes], run: Run) -> None:
    there = ask_board(port, run).files
    left = difference({name: there[name] for name in there if name != KEPT_MAIN}, wanted)
    if not left.none:
        raise LinkError(
            "The files on the board differ from those copied.",
            seen="; ".join(left.lines()),
            limit="equal hashes",
            next_step="repeat `sweeprig install`; if it happens again the board's flash is full or worn",
        )
