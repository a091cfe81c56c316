"""Gives the firmware the conversions of a simulated world, at real pace or as fast as it reads."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.twin.shaft import TRAVEL_DEG, Shaft

WINDOW_S: float = wire.WINDOW * wire.CHANNELS / wire.CONVERSION_HZ
_PAUSE_S = 0.3
_PRESS_S = 0.3  # how long a finger stays on the button (invented)
MOST_WINDOWS = 64  # given at once: the firmware's buffer is bounded


class Playable(Protocol):
    """What a feed needs of a world; see twin/world.py."""

    def raw(self, n_windows: int, outputs: int) -> NDArray[np.uint16]:
        """Return the next conversions, channels interleaved."""
        ...

    def slow(self, outputs: int) -> Mapping[str, object]:
        """Return {"readings": [[quantity, status, value], ...], "fault": bool, "button": bool}."""
        ...


@dataclass(frozen=True)
class Shown:
    """One signal of the rig's light or buzzer."""

    seconds: float  # in the world, since sampling began [s]
    what: str  # light | buzzer
    value: str | int  # the light's mode; the tone's length [ms]


class Feed:
    """`make` returns the world of each start of sampling, counted from 0.

    `clock` None gives windows as soon as they are asked for; else no earlier than they are due. `presses` are the
    times [s since sampling began] at which somebody presses the rig's button. `shaft` is that of a driven build.
    """

    def __init__(
        self,
        make: Callable[[int], Playable],
        clock: Callable[[], float] | None,
        *,
        presses: Sequence[float] = (),
        shaft: Shaft | None = None,
    ) -> None:
        self.n_given = 0
        self.shown: list[Shown] = []  # all that the operator was shown and heard, in order
        self._make = make
        self._n_starts = 0
        self._world = make(0)
        self._clock = clock
        self._presses = tuple(presses)
        self._shaft = shaft
        self._began = float("-inf")
        self._n_since = 0

    @property
    def seconds(self) -> float:
        """Time in the world since sampling began [s]."""
        return self.n_given * WINDOW_S

    @property
    def light(self) -> str:
        """What the rig's light does now: off, on, slow or fast."""
        return next((str(s.value) for s in reversed(self.shown) if s.what == "light"), "off")

    def show(self, what: str, value: str | int) -> None:
        """Note what the rig shows ("light", its mode) or sounds ("buzzer", its milliseconds)."""
        self.shown.append(Shown(self.seconds, what, value))

    def ramp(self, duty: int) -> None:
        """Set the duty of the ramp's PWM, 0 to 65535; a world without a ramp on its converter does not see it."""
        take = getattr(self._world, "ramp", None)
        if take is not None:
            take(duty)

    def turn(self, what: int) -> None:
        """Let the motor of a driven build do what the firmware asks."""
        if self._shaft is not None:
            self._shaft.turn(what)

    def shaft(self, waited_ms: int) -> bytes:
        """Return where the shaft is, for the firmware; `waited_ms` went by without a stream."""
        shaft = self._shaft
        if shaft is None:
            return b"\0\0\0"
        if shaft.taken:
            shaft.go(waited_ms / 1000)
        else:
            shaft.deg = TRAVEL_DEG * getattr(self._world, "lever", 0.0)
        return shaft.state()

    def wait_s(self) -> float:
        """Return how long it takes until a window is due [s]; 0 or less: one is."""
        if self._clock is None:
            return 0.0
        now = self._clock()
        wait = self._began + (self._n_since + 1) * WINDOW_S - now
        if wait < -_PAUSE_S:  # nobody asked for so long: time in the world stood still
            self._began, self._n_since = now, 0
            return WINDOW_S
        return wait

    def restart(self) -> None:
        """Start again: the lever is back where its hand starts."""
        self._n_starts += 1
        self.n_given = 0
        self._world = self._make(self._n_starts)

    def raw(self, outputs: int, n_windows: int) -> bytes:
        """Return at most `n_windows` windows that are due, as u16 little-endian; b"" where none is."""
        n = min(n_windows, MOST_WINDOWS)
        if self._clock is not None and n:
            n = min(n, max(0, int(1.0 - self.wait_s() / WINDOW_S)))
        if n <= 0:
            return b""
        self.n_given += n
        self._n_since += n
        return np.ascontiguousarray(self._world.raw(n, outputs), "<u2").tobytes()

    def slow(self, outputs: int) -> bytes:
        """Return the slow readings, fault line and button as JSON."""
        pressed = any(0 <= self.seconds - at < _PRESS_S for at in self._presses)
        state = self._world.slow(outputs)
        return json.dumps({**state, "button": bool(state.get("button")) or pressed}).encode()
