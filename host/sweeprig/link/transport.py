"""Bytes to and from a board, over any port that pyserial opens."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Protocol

from sweeprig.errors import LinkError
from sweeprig.link import foreign

WRITE_TIMEOUT_S = 2.0  # a board that takes no bytes for so long has hung
_MOST = 1 << 16  # bytes taken at once


class Transport(Protocol):
    """What the client needs of a port. Every error is a LinkError."""

    name: str

    def read(self, timeout_s: float) -> bytes:
        """Return the bytes that have come, waiting at most `timeout_s` [s] for the first; b"" where none came."""
        ...

    def write(self, data: bytes) -> None:
        """Send all of `data`."""
        ...

    def close(self) -> None:
        """Close the port; closing it again does nothing."""
        ...


class SerialTransport:
    """A port of pyserial with the project's own errors."""

    def __init__(self, port: Any, name: str) -> None:
        self.name = name
        self._port = port

    def read(self, timeout_s: float) -> bytes:
        """Return what came, waiting at most `timeout_s` [s] for the first byte."""
        with _mapped(self.name, "use"):
            waiting = self._port.in_waiting
            if not waiting:
                if timeout_s <= 0:
                    return b""
                if self._port.timeout != timeout_s:
                    self._port.timeout = timeout_s
                first = bytes(self._port.read(1))
                if not first:
                    return b""
                return first + bytes(self._port.read(min(self._port.in_waiting, _MOST)))
            return bytes(self._port.read(min(waiting, _MOST)))

    def write(self, data: bytes) -> None:
        """Send all of `data`."""
        with _mapped(self.name, "use"):
            self._port.write(data)

    def close(self) -> None:
        """Close the port; it is no error where the board is gone already."""
        try:
            with _mapped(self.name, "use"):
                self._port.close()
        except LinkError:
            return


@contextmanager
def _mapped(name: str, phase: foreign.Phase) -> Iterator[None]:
    """Translate errors of pyserial and the system by the table; any other is a bug and passes through."""
    try:
        yield
    except LinkError:
        raise
    except Exception as exc:
        error = foreign.ours(exc, port=name, phase=phase)
        if error is None:
            raise
        raise error from exc


def open_port(url: str) -> SerialTransport:
    """Open a device name or any URL that pyserial understands.

    Raises PortMissingError, PortBusyError, PortPermissionError.
    """
    import serial

    with _mapped(url, "open"):
        port: Any = serial.serial_for_url(url, do_not_open=True, timeout=0.05, write_timeout=WRITE_TIMEOUT_S)
        if "://" not in url and os.name == "posix":
            port.exclusive = True  # Windows does so by itself
        port.baudrate = 115200
        port.open()
    return SerialTransport(port, url)
