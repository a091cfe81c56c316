"""The messages that the decoder returns: frozen dataclasses, with arrays for the records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire

_CHANNEL = np.dtype([(name, f"<{code}") for name, code in wire.CHANNEL_FIELDS])
RECORD = np.dtype(
    [("channels", _CHANNEL, (wire.CHANNELS,)), *((name, f"<{code}") for name, code in wire.PLACE_FIELDS)]
)


@dataclass(frozen=True)
class Records:
    """Whole records in the order they came. Lengths n; the fields stand as in a record of wire.py."""

    index: NDArray[np.int64]  # (n,) window index, unwrapped from the wire's u32
    sums: NDArray[np.uint32]  # (n, 3)
    mins: NDArray[np.uint16]  # (n, 3)
    maxs: NDArray[np.uint16]  # (n, 3)
    position: NDArray[np.uint16]  # (n,) 0xFFFF: none
    flags: NDArray[np.uint16]  # (n,) wire.FLAG_*

    def __len__(self) -> int:
        return int(self.index.size)

    def __getitem__(self, which: slice | NDArray[Any]) -> Records:
        """Return a part: a slice, a mask (n,) or the numbers of the rows."""
        return Records(*(array[which] for array in vars(self).values()))

    def usable(self) -> Records:
        """Return the records in which the converter marked no conversion as bad: the others are no data."""
        return self[self.flags & wire.FLAG_CONVERSION_ERROR == 0]

    @classmethod
    def concatenate(cls, parts: Sequence[Records]) -> Records:
        """Return the parts one after another."""
        parts = parts or [cls.empty()]
        return cls(
            *(np.concatenate(arrays) for arrays in zip(*(vars(p).values() for p in parts), strict=True))
        )

    @classmethod
    def empty(cls) -> Records:
        """Return no records."""
        return cls.of_bytes(b"", np.zeros(0, np.int64))

    @classmethod
    def of_bytes(cls, payload: bytes | NDArray[np.uint8], index: NDArray[np.int64]) -> Records:
        """Return the whole records in `payload` (wire.RECORD_FORMAT each), `index` (n,) theirs."""
        rows = np.frombuffer(payload, RECORD)
        per_channel = (rows["channels"][name] for name, _ in wire.CHANNEL_FIELDS)
        arrays = (*per_channel, *(rows[name] for name, _ in wire.PLACE_FIELDS))
        return cls(index, *(np.ascontiguousarray(a) for a in arrays))


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
class Kept:
    """Pages of what is kept on the board, as they stand in its flash."""

    pages: tuple[bytes, ...]


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


Message = (
    Records
    | Hello
    | Reply
    | SlowReading
    | Snapshot
    | Gap
    | Status
    | Histogram
    | Mark
    | Kept
    | BoardText
    | BadFrame
)
