"""A disk that fills."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from typing import Any


def disk_with(room: int) -> Callable[[int, Any], int]:
    """Return an `os.write` for a disk on which so many bytes are free; the last write takes what fits."""
    left, real = room, os.write

    def write(handle: int, data: Any) -> int:
        nonlocal left
        if left <= 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        n = min(len(data), left)
        left -= n
        return real(handle, bytes(data[:n]))

    return write
