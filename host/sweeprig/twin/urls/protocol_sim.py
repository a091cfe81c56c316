"""`sim://`: a port of pyserial with a simulated rig behind it."""

from __future__ import annotations

import time
from typing import Any

from serial.serialutil import PortNotOpenError, SerialBase, SerialException

from sweeprig.twin.sim_url import parse

_PUMP_S = 0.02  # longest stretch between two looks at the time-out


class Serial(SerialBase):
    """The simulated rig. It is switched on by open() and off by close()."""

    def open(self) -> None:
        """Make the world and start the board in it."""
        if self.is_open:
            raise SerialException("the simulated rig is open already")
        from sweeprig.twin.simulated import switch_on

        self._options = parse(self.portstr or "")
        self._machine, self._feed = switch_on(self._options)
        self.is_open = True

    def close(self) -> None:
        """Switch the board off."""
        if self.is_open:
            self.is_open = False
            self._machine.close()

    def _reconfigure_port(self) -> None:
        """A simulated port takes every setting."""

    def _there(self) -> None:
        if not self.is_open:
            raise PortNotOpenError
        after = self._options.unplug_after
        if after and self._feed.seconds >= after:
            raise SerialException("device reports readiness to read but returned no data (unplugged)")

    def _pump(self, seconds: float) -> None:
        self._there()
        self._machine.pump(seconds)

    @property
    def in_waiting(self) -> int:
        """Return how many bytes wait."""
        self._there()
        if not self._machine.out:
            self._pump(0.0)
        return len(self._machine.out)

    def read(self, size: int = 1) -> bytes:
        """Return `size` bytes, fewer where the time-out comes first."""
        self._there()
        machine = self._machine
        until = None if self.timeout is None else time.monotonic() + self.timeout
        while len(machine.out) < size:
            left = _PUMP_S if until is None else until - time.monotonic()
            self._pump(max(0.0, min(_PUMP_S, left)))
            if left <= 0:
                break
        data = bytes(machine.out[:size])
        del machine.out[:size]
        return data

    def write(self, data: Any) -> int:
        """Give bytes to the board."""
        self._there()
        self._machine.write(bytes(data))
        return len(data)

    def reset_input_buffer(self) -> None:
        """Forget what waits."""
        self._machine.out.clear()

    def reset_output_buffer(self) -> None:
        """Nothing waits on the way out."""
