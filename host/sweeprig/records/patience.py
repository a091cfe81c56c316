"""Waiting for other programs that hold the database: try again, after longer and longer pauses, up to a limit."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from sweeprig.records.engine import WAIT_S
from sweeprig.records.errors import RecordsLockedError

FIRST_S, LONGEST_S = 0.02, 1.0  # s; pauses, each drawn from half to one and a half of it
T = TypeVar("T")


@dataclass(frozen=True)
class Patience:
    """How long to wait for others, and with which clock."""

    limit_s: float = WAIT_S
    sleep: Callable[[float], object] = time.sleep
    clock: Callable[[], float] = time.monotonic
    chance: Callable[[], float] = random.random  # 0 to 1

    def insist(self, work: Callable[[], T]) -> T:
        """Call `work` until no other program holds the database, and return its result. Raises RecordsLockedError."""
        began, pause = self.clock(), FIRST_S
        while True:
            try:
                return work()
            except RecordsLockedError as error:
                left = self.limit_s - (self.clock() - began)
                if left <= 0:
                    raise self._given_up(error) from error
                self.sleep(min(pause * (0.5 + self.chance()), left))
                pause = min(2 * pause, LONGEST_S)

    def _given_up(self, error: RecordsLockedError) -> RecordsLockedError:
        return RecordsLockedError(
            error.what,
            seen=f"{error.seen}, tried again for {self.limit_s:g} s",
            limit="the other program to finish",
            next_step="wait until the other program has finished; the capture is safe in its file",
        )
