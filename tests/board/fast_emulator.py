"""Compile the emulator for the Python that runs the tests: it needs less than half the time then.

    python -m tests.board.fast_emulator

PyPI `rp2040py` comes as a wheel for many Pythons at once, which calls them the slow way, and carries the C sources that
it was made from. Compiled here they stand beside the wheel's own modules, and Python takes them first. The emulation
is the same. Without a compiler, or Python's headers, the wheel's own are used.
"""

from __future__ import annotations

import importlib.machinery
import importlib.util
import os
import shutil
import subprocess
import sysconfig
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

AT_ONCE = 2
FLAGS = ("-O2", "-fPIC", "-shared", "-w")
Say = Callable[[str], None]


def sources() -> list[Path]:
    """Return the C sources that the installed emulator carries."""
    found = importlib.util.find_spec("rp2040py")
    if found is None or not found.submodule_search_locations:
        return []
    return sorted(Path(found.submodule_search_locations[0], "native").glob("*.c"))


def module_of(source: Path) -> Path:
    """Return where Python looks for a module of its own before it takes one for many Pythons."""
    return source.with_suffix(importlib.machinery.EXTENSION_SUFFIXES[0])


def part_of(source: Path) -> Path:
    """Return where a module stands until all are there."""
    return source.with_suffix(f".{os.getpid()}.part")


def compile_module(compiler: str, source: Path) -> str:
    """Compile one source; return what the compiler said where it failed."""
    headers = sysconfig.get_path("include")
    command = [compiler, *FLAGS, f"-I{headers}", str(source), "-o", str(part_of(source))]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    return (done.stderr.strip() or f"it ended with {done.returncode}") if done.returncode else ""


def compile_all(compiler: str, there: list[Path]) -> str:
    """Compile all, which share the layout of their objects, or none; return why none."""
    with ThreadPoolExecutor(AT_ONCE) as pool:
        failed = [said for said in pool.map(lambda source: compile_module(compiler, source), there) if said]
    for source in there:
        if failed:
            part_of(source).unlink(missing_ok=True)
        else:
            part_of(source).replace(module_of(source))
    return failed[0].splitlines()[0] if failed else ""


def main(say: Say = print, compiler: str | None = shutil.which("cc")) -> None:
    """Compile what is not compiled yet, and say what became of it."""
    own = "The emulator runs as its wheel is, at less than half the speed: "
    there = sources()
    if compiler is None or not there:
        say(own + ("no C compiler (cc) was found." if there else "no C sources of it are installed."))
    elif all(module_of(source).exists() for source in there):
        say(f"The emulator is compiled for this Python: {len(there)} modules.")
    elif why := compile_all(compiler, there):
        say(own + f"its C sources do not compile here: {why}")
    else:
        say(f"The emulator is compiled for this Python now: {len(there)} modules.")


if __name__ == "__main__":
    main()
