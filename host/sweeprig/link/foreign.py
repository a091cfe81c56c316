"""The one table that turns what pyserial and the operating system raise into the project's own errors."""

from __future__ import annotations

import errno
import os
import sys
from dataclasses import dataclass
from typing import Literal

from sweeprig.errors import (
    BoardSilentError,
    LinkError,
    PortBusyError,
    PortLostError,
    PortMissingError,
    PortPermissionError,
)

Phase = Literal["open", "use"]

_FIND = "list the ports with `sweeprig rigs`, and check the cable"
_CLOSE = "close the other program (a terminal, an editor's serial monitor, another sweep) and try again"
_AGAIN = "check cable and plug, plug the board in again and repeat"
_GONE = "device reports readiness to read"  # pyserial 3.5, where a cable was pulled
_ANSWER = "press the board's reset or plug it in again; if it stays silent: sweeprig install"


def permission_step(system: str = sys.platform) -> str:
    """Return what lets a user open serial ports on this system."""
    if system.startswith("linux"):
        return (
            "add yourself to the port's group (Debian, Ubuntu: sudo usermod -aG dialout $USER; Arch: uucp) "
            'and log in again, or add the udev rule SUBSYSTEM=="tty", ATTRS{idVendor}=="2e8a", MODE="0666"'
        )
    if system == "win32":
        return _CLOSE
    return "check the permissions of the device file"


@dataclass(frozen=True)
class Translation:
    """One line of the table: the first that fits rules."""

    kinds: tuple[str, ...]  # names of classes; an exception fits by its own class or one it descends from
    error: type[LinkError]
    what: str  # {port} stands for the port
    next_step: str
    phases: tuple[Phase, ...] = ("open", "use")
    numbers: frozenset[int] = frozenset()  # errno; empty: any or none
    texts: tuple[str, ...] = ()  # one of these is in the message; empty: any

    def fits(self, exc: BaseException, phase: Phase) -> bool:
        """Return whether the row stands for `exc` in this phase."""
        names = {cls.__name__ for cls in type(exc).__mro__}
        names |= {f"{cls.__module__}.{cls.__name__}" for cls in type(exc).__mro__}
        if phase not in self.phases or not names & set(self.kinds):
            return False
        if self.numbers and getattr(exc, "errno", None) not in self.numbers:
            return False
        return not self.texts or any(text in str(exc) for text in self.texts)


def _numbers(*names: str) -> frozenset[int]:
    return frozenset(getattr(errno, name) for name in names if hasattr(errno, name))


TABLE: tuple[Translation, ...] = (
    Translation(("SerialTimeoutException",), BoardSilentError, "{port} does not accept data.", _ANSWER),
    Translation(("PortNotOpenError",), PortLostError, "{port} is no longer open.", _AGAIN),
    Translation(
        ("OSError",), PortPermissionError, "This user may not open {port}.", "",
        phases=("open",), numbers=_numbers("EACCES", "EPERM"),
    ),
    Translation(
        ("OSError",), PortBusyError, "Another program holds {port}.", _CLOSE,
        phases=("open",), numbers=_numbers("EBUSY", "EAGAIN", "EWOULDBLOCK"),
    ),
    Translation(  # Windows gives no number, and denies access to a port that another program holds
        ("SerialException",), PortBusyError, "Another program holds {port}.", _CLOSE,
        phases=("open",), texts=("PermissionError(13", "Access is denied"),
    ),
    Translation(
        ("SerialException", "termios.error"), PortMissingError, "{port} is not a serial port.", _FIND,
        phases=("open",), texts=("Inappropriate ioctl", "Could not configure port", "Cannot configure port"),
    ),
    Translation(
        ("OSError",), PortMissingError, "There is no port {port}.", _FIND, phases=("open",), numbers=_numbers("ENOENT"),
    ),
    Translation(("OSError",), PortMissingError, "{port} cannot be opened.", _FIND, phases=("open",)),
    Translation(  # a mistyped option of a URL makes some handlers of pyserial 3.5 trip over their own message
        ("ValueError", "LookupError"), PortMissingError, "{port} is not a valid port name.", _FIND,
        phases=("open",),
    ),
    Translation(
        ("NotImplementedError", "TypeError", "termios.error"), PortMissingError,
        "{port} cannot be set up.", _FIND, phases=("open",),
    ),
    Translation(("OSError",), PortLostError, "The board on {port} is disconnected.", _AGAIN, phases=("use",)),
    Translation(
        ("ValueError", "TypeError", "NotImplementedError", "termios.error"), PortLostError,
        "{port} no longer works as a serial port.", _AGAIN, phases=("use",),
    ),
)  # fmt: skip


def ours(exc: BaseException, *, port: str, phase: Phase) -> LinkError | None:
    """Return the project's error for a foreign one, or None where no row fits: then it is a bug."""
    for row in TABLE:
        if row.fits(exc, phase):
            step = row.next_step or permission_step()
            return row.error(row.what.format(port=port), seen=_seen(exc), next_step=step)
    return None


def _seen(exc: BaseException) -> str:
    """Return what an exception says; without Python's number and without saying it twice, where it has an errno."""
    number, text = getattr(exc, "errno", None), str(exc).rstrip(".")
    if isinstance(number, int) and "[Errno" in text:
        return os.strerror(number)
    return (
        "nothing comes through the cable any more" if text.startswith(_GONE) else text or type(exc).__name__
    )
