"""Standard input, output and error: a closed or broken stream ends no work and causes no traceback."""

from __future__ import annotations

import errno
import io
import os
import select
import sys
from typing import Any

GONE = frozenset({errno.EPIPE, errno.ECONNRESET})  # the reader has seen enough: nothing to tell of


class Outlet(io.RawIOBase):
    """Wraps an output stream. Once a write fails, all later output is dropped; `error` says why."""

    def __init__(self, inner: Any) -> None:
        super().__init__()
        self.error: OSError | None = None
        self._inner = inner

    def write(self, data: Any) -> int:
        """Write what the system takes now; after a failure take all, and drop it."""
        if self.error is None:
            try:
                return self._written(data)
            except OSError as exc:
                self.error = exc
        return len(memoryview(data).cast("B"))

    def _written(self, data: Any) -> int:
        while True:
            n: int | None = self._inner.write(data)
            if n is not None:
                return n
            select.select([], [self._inner], [])  # a pipe that is full, set not to wait

    def fileno(self) -> int:
        """Return the handle of the stream."""
        handle: int = self._inner.fileno()
        return handle

    def isatty(self) -> bool:
        """Return whether it is a terminal."""
        return bool(self._inner.isatty())

    def writable(self) -> bool:
        """Return True."""
        return True


_outlets: dict[str, Outlet] = {}


def open_outlets() -> None:
    """Send output and error of this process through outlets; a closed stream becomes one that drops all, as /dev/null.

    The number of a closed handle would be given to the next file that is opened, and output would go into that file.
    """
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        stream = getattr(sys, name)
        if stream is None:
            _put(name, io.TextIOWrapper(_nowhere(number), encoding="utf-8"))
        elif number and type(stream) is io.TextIOWrapper:  # what captures the output is of another kind
            encoding, by_line = stream.encoding, stream.line_buffering
            buffer = stream.detach()  # with PYTHONUNBUFFERED none, but the end itself
            raw = buffer.detach() if isinstance(buffer, io.BufferedWriter) else buffer
            outlet = _outlets[name] = Outlet(raw)
            # a character that the terminal cannot show is replaced
            _put(
                name, io.TextIOWrapper(io.BufferedWriter(outlet), encoding, "replace", line_buffering=by_line)
            )


def _put(name: str, stream: io.TextIOWrapper) -> None:
    setattr(sys, name, stream)
    setattr(sys, f"__{name}__", stream)


def _nowhere(number: int) -> io.BufferedReader | io.BufferedWriter:
    """Return what leads nowhere; its handle is that of the number where this is still free."""
    if number == 0:
        return io.BufferedReader(io.FileIO(os.devnull))
    return io.BufferedWriter(io.FileIO(os.devnull, "w"))


def lost_output() -> OSError | None:
    """Return why results can no longer be printed; None where they can."""
    outlet = _outlets.get("stdout")
    return None if outlet is None else outlet.error


def close_output() -> OSError | None:
    """Print what waits; return the error of results that could not be printed, None for a reader that has gone."""
    for name in _outlets:
        getattr(sys, name).flush()
    lost = lost_output()
    return None if lost is None or lost.errno in GONE else lost
