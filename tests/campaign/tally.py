"""What an attack comes to: tries, survived, lost, with an exact interval for the share lost."""

from __future__ import annotations

import random
import time
import traceback
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from support.exact import clopper_pearson
from sweeprig.errors import SweeprigError

Try = Callable[[random.Random, Path], str]
Attack = Callable[[Path], Try]


class CannotBeTriedError(Exception):
    """What an attack needs is missing here; raised before the first try, with the reason."""


@dataclass(frozen=True)
class Loss:
    """One try that was lost; `seed` makes it again."""

    seed: str
    what: str


@dataclass(frozen=True)
class Tally:
    """One attack's count."""

    name: str
    tries: int
    losses: tuple[Loss, ...]
    skipped: str = ""  # why there was no try

    @property
    def line(self) -> str:
        """The row of the table; the interval holds the true share of losses with 95 %."""
        if self.skipped:
            return f"{self.name:24}{'-':>8}{'-':>10}{'-':>6}  not tried: {self.skipped}"
        lost = len(self.losses)
        low, high = clopper_pearson(lost, self.tries) if self.tries else (0.0, 1.0)
        interval = f"{100 * low:.3f} to {100 * high:.3f} %"
        return f"{self.name:24}{self.tries:>8}{self.tries - lost:>10}{lost:>6}  {interval}"


HEADING = f"{'attack':24}{'tries':>8}{'survived':>10}{'lost':>6}  share lost, 95 % (Clopper and Pearson)"


def one_try(attempt: Try, seed: str, folder: Path) -> str:
    """Return what one try lost; an error of ours loses nothing."""
    folder.mkdir()
    try:
        return attempt(random.Random(seed), folder)
    except SweeprigError:
        return ""
    except Exception as exc:  # noqa: BLE001 (this is what is counted)
        at = traceback.extract_tb(exc.__traceback__)[-1]
        return f"{type(exc).__name__}: {exc!s:.160} ({Path(at.filename).name}:{at.lineno})"


def run(
    name: str,
    attack: Attack,
    folder: Path,
    *,
    tries: int,
    seed: int,
    seconds: float = float("inf"),
    clock: Callable[[], float] = time.monotonic,
) -> Tally:
    """Run an attack until `tries` are done or `seconds` have passed; every try has a seed of its own."""
    try:
        attempt = attack(folder)
    except CannotBeTriedError as exc:
        return Tally(name, 0, (), str(exc))
    began, losses, done = clock(), [], 0
    while done < tries and clock() - began < seconds:
        own = f"{name}-{seed}-{done}"
        lost = one_try(attempt, own, folder / own)
        losses += [Loss(own, lost)] if lost else []
        done += 1
    return Tally(name, done, tuple(losses))


def lines(tallies: Iterable[Tally], *, most: int = 10) -> list[str]:
    """Return the table, and under it the first losses of each attack."""
    tallies = list(tallies)
    told = [f"  {loss.seed}: {loss.what}" for t in tallies for loss in t.losses[:most]]
    return [HEADING, *(t.line for t in tallies), *(["", "lost:", *told] if told else [])]
