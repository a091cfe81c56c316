"""What comes out of the decoder: frozen events, arrays for records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Records:
    """Whole records in the order they came. Lengths n; three channels: signal A, signal B, supply."""

    index: NDArray[np.int64]  # (n,) window index, unwrapped from the wire's u32
    sums: NDArray[np.uint32]  # (n, 3)
    mins: NDArray[np.uint16]  # (n, 3)
    maxs: NDArray[np.uint16]  # (n, 3)
    position: NDArray[np.uint16]  # (n,) 0xFFFF: none
    flags: NDArray[np.uint16]  # (n,) wire.FLAG_*

    def __len__(self) -> int:
        return int(self.index.size)

    @classmethod
    def empty(cls) -> Records:
        """Return no records."""
        u16 = np.zeros(0, np.uint16)
        three = np.zeros((0, 3), np.uint16)
        return cls(np.zeros(0, np.int64), np.zeros((0, 3), np.uint32), three, three, u16, u16)

    @classmethod
    def concatenate(cls, parts: list[Records]) -> Records:
        """Return the parts one after another."""
        if not parts:
            return cls.empty()
        names = ("index", "sums", "mins", "maxs", "position", "flags")
        return cls(*(np.concatenate([getattr(p, name) for p in parts]) for name in names))


@dataclass(frozen=True)
class Hello:
    """The board's hello: see docs/reference/wire.md for the keys."""

    data: Mapping[str, Any]


@dataclass(frozen=True)
class Reply:
    """Answer to one command."""

    command_id: int
    ok: bool
    data: Mapping[str, Any]


@dataclass(frozen=True)
class SlowReading:
    """One reading of a slow quantity (wire.SLOW_*), value as on the wire."""

    index: int
    quantity: int
    status: int
    value: int


@dataclass(frozen=True)
class Snapshot:
    """Raw conversions around an event, channels interleaved."""

    index: int  # of the window in which it starts
    first: int  # conversion inside that window at which it starts
    trigger: int  # conversion inside the snapshot that triggered
    channels: int
    channel: int  # that triggered
    codes: NDArray[np.uint16]  # (n,)


@dataclass(frozen=True)
class Gap:
    """Windows that are missing, as the board says."""

    index: int
    n_lost: int
    reason: int  # wire.GAP_*


@dataclass(frozen=True)
class Status:
    """The board's own counts."""

    index: int
    n_made: int
    n_sent: int
    n_dropped: int
    n_conversions_lost: int
    n_conversion_errors: int
    n_bad_commands: int
    free_bytes: int
    streaming: bool
    reset_cause: int


@dataclass(frozen=True)
class Histogram:
    """Counts of codes of one channel, from `first_code` on."""

    channel: int
    first_code: int
    n_windows: int
    counts: NDArray[np.uint32]


@dataclass(frozen=True)
class Mark:
    """A button of the rig was pressed."""

    index: int
    button: int
    count: int


@dataclass(frozen=True)
class BoardText:
    """A line of text from the board: a boot banner, a traceback."""

    line: str


@dataclass(frozen=True)
class BadFrame:
    """Bytes between two zeros that are neither a message nor text."""

    n_bytes: int
    why: str  # stuffing | crc | length | protocol | kind | payload
    protocol: int | None = None


Event = (
    Records | Hello | Reply | SlowReading | Snapshot | Gap | Status | Histogram | Mark | BoardText | BadFrame
)
