"""Ways out of a session: a signal that ends the program becomes an exception, and waits while the rig switches off."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

# the terminal was closed, the program or the machine is to end; not every system has all
ENDING = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP", "SIGBREAK") if hasattr(signal, name))


class EndedBySignal(SystemExit):
    """A signal ends the program: each `with` block is left in turn; the exit status is the one a shell expects."""

    def __init__(self, number: int) -> None:
        super().__init__(128 + number)
        self.name = signal.Signals(number).name


@contextmanager
def unwinding() -> Iterator[None]:
    """Within the block, raise EndedBySignal at the first signal that ends the program; later ones do nothing.

    Signals reach the main thread only: in another one the block runs as it is.
    """
    asked: list[int] = []

    def end(number: int, _frame: Any) -> None:
        if not asked:
            asked.append(number)
            raise EndedBySignal(number)

    with _handled(ENDING, end):
        yield


@contextmanager
def held_back() -> Iterator[None]:
    """Within the block, hold back every signal that ends the program, Ctrl-C too; it acts at the end of the block."""
    waiting: list[int] = []
    try:
        with _handled((*ENDING, signal.SIGINT), lambda number, _frame: waiting.append(number)):
            yield
    finally:
        for number in dict.fromkeys(waiting):
            signal.raise_signal(number)


@contextmanager
def _handled(numbers: Iterable[int], handler: Callable[[int, Any], object]) -> Iterator[None]:
    """Handle signals within the block; a signal that was ignored before, as after nohup, stays ignored."""
    before: dict[int, Any] = {}
    if threading.current_thread() is threading.main_thread():
        before = {n: signal.getsignal(n) for n in numbers}
        before = {n: old for n, old in before.items() if old not in (None, signal.SIG_IGN)}
    try:
        for number in before:
            signal.signal(number, handler)
        yield
    finally:
        for number, old in before.items():
            signal.signal(number, old)
