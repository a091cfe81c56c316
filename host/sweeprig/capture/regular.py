"""The one place where a user's files are read: a pipe or a device has no end, and may never begin."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

_FLAGS = (
    os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
)  # a pipe is opened without waiting
MOST_CAPTURE = 2 << 30  # bytes of a capture
MOST_BOOK = 1 << 20  # bytes of a small file of settings or notes: a thousand times what it needs
_PART = 1 << 24  # bytes taken at once


class TooLongError(OSError):
    """A file has more bytes than it may."""

    def __init__(self, size: int, most: int) -> None:
        super().__init__(errno.EFBIG, f"{size} bytes, more than {most}")
        self.size = size


def read_regular(path: Path, *, most: int) -> bytes:
    """Return the bytes of a regular file of at most `most` bytes. OSError for others; TooLongError is read of none."""
    handle = os.open(path, _FLAGS)
    try:
        found = os.fstat(handle)
        if not stat.S_ISREG(found.st_mode):
            raise OSError("it is not a regular file")
        if found.st_size > most:
            raise TooLongError(found.st_size, most)
        data = b""
        while len(data) <= most and (part := os.read(handle, min(_PART, most + 1 - len(data)))):
            data += part
    finally:
        os.close(handle)
    if len(data) > most:
        raise TooLongError(len(data), most)
    return data


def read_text(path: Path, *, most: int) -> str:
    """Return the text of such a file in UTF-8, a byte-order mark left out and line ends as line feeds.

    OSError as above, UnicodeDecodeError.
    """
    text = read_regular(path, most=most).decode("utf-8-sig")
    return text.replace("\r\n", "\n").replace("\r", "\n")
