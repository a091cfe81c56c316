"""Databases while they are written: many programs at once, and a server that is killed."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from random import Random

from tests.campaign.tally import Attack, CannotBeTriedError, Try

from support.postgres_server import Server, running
from support.records_world import numbered
from sweeprig.errors import RecordsError
from sweeprig.records.store import open_store

WRITERS, EACH = 6, 4


def add(url: str, n: int) -> int | None:
    """Add outcome number n; None where it was refused with an error of ours."""
    try:
        with open_store(url) as store:
            return store.add(numbered(n, serial=f"S-{n}"), Path(f"{n}.sweep"))
    except RecordsError:
        return None


def kept(url: str) -> dict[int, str]:
    """Return number -> serial number of all records."""
    with open_store(url) as store:
        return {row.id: row.serial for row in store.find()}


def writers(folder: Path) -> Try:
    """Several programs write one SQLite file at once: each is there once, and none is refused."""
    del folder

    def attempt(random: Random, own: Path) -> str:
        url, first = str(own / "a.sqlite"), random.randrange(1000)
        with ThreadPoolExecutor(WRITERS) as pool:
            numbers = list(pool.map(lambda n: add(url, first + n), range(WRITERS * EACH)))
        found = kept(url)
        if None in numbers or len(set(numbers)) != len(numbers):
            return f"{numbers.count(None)} refused"
        return (
            "" if sorted(found) == sorted(n for n in numbers if n) else f"{len(found)} of {len(numbers)} kept"
        )

    return attempt


def server_killed(folder: Path) -> Try:
    """PostgreSQL's server dies during writes and comes back: what was said to be kept is; the rest can be added."""
    del folder
    stack = ExitStack()
    try:
        server = stack.enter_context(running())
    except OSError as exc:
        raise CannotBeTriedError(f"PostgreSQL's server programs are missing ({exc})") from exc
    CLOSE.append(stack.close)
    count = iter(range(1_000_000))

    def attempt(random: Random, own: Path) -> str:
        del own
        url = server.new_database(f"c{next(count)}")
        add(url, 0)  # the tables
        killer = threading.Thread(target=_kill_and_start, args=(server, random.random()))
        killer.start()
        numbers = {n: add(url, n) for n in range(1, 25)}
        killer.join()
        found = kept(url)
        if missing := [n for n, row in numbers.items() if row is not None and found.get(row) != f"S-{n}"]:
            return f"{len(missing)} that were said to be kept are not there"
        again = [n for n, row in numbers.items() if row is None and f"S-{n}" not in found.values()]
        if None in [add(url, n) for n in again]:
            return "what was refused cannot be added later"
        found = kept(url)
        return "" if len(set(found.values())) == len(found) == 25 else f"{len(found)} records of 25"

    return attempt


def _kill_and_start(server: Server, wait_s: float) -> None:
    time.sleep(wait_s)
    server.stop()
    server.start()


CLOSE: list[Callable[[], None]] = []  # what was started for an attack
ATTACKS: dict[str, Attack] = {"records, many writers": writers, "records, server killed": server_killed}
