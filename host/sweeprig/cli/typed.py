"""Keys typed while no question is open: they are not shown, and they are dropped before the next question."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress

_LOCAL = 3  # of what tcgetattr returns: the flags that echo and line editing are among


@contextmanager
def unseen_keys() -> Iterator[None]:
    """Do not show typed keys while the block runs; do nothing where we may not set the terminal."""
    with _echoing(wanted=False):
        yield


@contextmanager
def seen_keys() -> Iterator[None]:
    """Drop what was typed before, and show what is typed within the block, which asks a question."""
    with _echoing(wanted=True):
        yield


@contextmanager
def _echoing(*, wanted: bool) -> Iterator[None]:
    if not _is_ours():
        yield
        return
    import termios

    handle = sys.stdin.fileno()
    before = termios.tcgetattr(handle)
    flags = before[_LOCAL] | termios.ECHO | termios.ICANON if wanted else before[_LOCAL] & ~termios.ECHO
    when = termios.TCSAFLUSH if wanted else termios.TCSADRAIN
    try:
        termios.tcsetattr(handle, when, [*before[:_LOCAL], flags, *before[_LOCAL + 1 :]])
        yield
    finally:
        with suppress(termios.error):
            termios.tcsetattr(handle, termios.TCSADRAIN, before)


def _is_ours() -> bool:
    """Return whether keys come from a terminal that we may set: not in the background, and not shared with a pager."""
    if os.name != "posix" or not (sys.stdin.isatty() and sys.stdout.isatty()):
        return False
    try:
        return os.tcgetpgrp(sys.stdin.fileno()) == os.getpgrp()
    except OSError:
        return True  # nobody's terminal: nothing runs in its background
