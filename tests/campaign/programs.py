"""Whole programs: killed, stopped, beside one another, with a clock that jumps, on a disk that is full."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from datetime import datetime
from pathlib import Path
from random import Random

from tests.campaign.tally import Attack, CannotBeTriedError, Try

from sweeprig.bench.shop.places import find_places
from sweeprig.capture.file import read_capture
from sweeprig.capture.sweep import recover
from sweeprig.records.store import open_store

TESTS = Path(__file__).parents[1]
ROOT = TESTS.parent
PATIENCE_S = 240.0  # a machine under load is slow; nothing of the program is timed by it
SWEEP = ("sweep", "--confirm", "plug-off", "--seconds", "6.5", "--countdown", "0")
SEAMS = (
    ("Europe/Berlin", "2031-03-30 01:59:58"), ("Europe/Berlin", "2031-10-26 02:59:58"),
    ("Australia/Lord_Howe", "2031-04-06 01:59:58"), ("America/St_Johns", "2031-11-02 01:59:58"),
    ("Pacific/Apia", "2011-12-29 23:59:58"), ("UTC", "2038-01-19 03:14:06"), ("UTC", "1999-12-31 23:59:58"),
    ("UTC", "2099-12-31 23:59:58"), ("UTC", "2032-02-29 23:59:58"), ("Asia/Kathmandu", "1970-01-02 00:00:01"),
)  # fmt: skip


def environment(home: Path, **more: str) -> dict[str, str]:
    """Return the environment of a program with a home of its own."""
    paths = os.pathsep.join(str(p) for p in (TESTS, ROOT / "host", ROOT / "firmware"))
    return {**os.environ, "SWEEPRIG_HOME": str(home), "PYTHONPATH": paths, "LC_ALL": "C.UTF-8", **more}


def started(
    *args: str, home: Path, log: Path, seed: int = 3, prefix: tuple[str, ...] = (), **env: str
) -> subprocess.Popen[str]:
    """Start a command with a simulated rig; each word to the board stands in `log`."""
    port = f"sim://good?seed={seed}&vm=cpython&pace=fast"
    return subprocess.Popen(
        [*prefix, sys.executable, "-m", "support.session_child", str(log), *args, "--port", port],
        env=environment(home, **env), stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True, start_new_session=True,
    )  # fmt: skip


def ended(child: subprocess.Popen[str]) -> tuple[str, str]:
    """Return what a program said; it is ended where it does not end."""
    try:
        return child.communicate(timeout=PATIENCE_S)
    except subprocess.TimeoutExpired:
        child.kill()
        return child.communicate()[0], "Traceback: it did not end"


def left_on(log: Path) -> bool:
    """Return whether the last word to the board left the supply on."""
    words = [
        line for line in (log.read_text().splitlines() if log.exists() else []) if line.startswith("supply")
    ]
    return bool(words) and words[-1] == "supply True"


def what_is_left(home: Path, log: Path, *, captured: bool) -> str:
    """Recover what a program left; return what is wrong with it."""
    captures = home / "captures"
    recover(captures)
    rest = sorted(p.name for p in captures.glob("*")) if captures.exists() else []
    if wrong := [name for name in rest if name.endswith((".journal", ".part"))]:
        return f"left behind: {', '.join(wrong)}"
    files = [read_capture(p) for p in captures.glob("*.sweep")]
    streams = sum(line.startswith("start") for line in (log.read_text().splitlines() if log.exists() else []))
    if captured and streams > 1 and len(files) != 1:
        return f"{len(files)} captures of one sweep"
    return ""


def killed(folder: Path) -> Try:
    """A sweep that a signal ends at any time, SIGKILL among them, or holds for a while: kept once, let go of."""
    del folder
    numbers = (signal.SIGKILL, signal.SIGTERM, signal.SIGHUP, signal.SIGINT, signal.SIGSTOP)

    def attempt(random: Random, own: Path) -> str:
        log, number = own / "log", random.choice(numbers)
        child = started(*SWEEP, "--sheet", "html", home=own, log=log)
        _wait_for_words(child, log, random.randrange(0, 14))
        time.sleep(random.random())
        _send(child, number, random)
        for again in random.choices(
            (signal.SIGINT, signal.SIGTERM, signal.SIGHUP), k=random.choice((0, 0, 1, 3))
        ):
            time.sleep(random.choice((0.0, 0.05, 0.4)))
            _send(child, again, random)
            number = signal.SIGTERM if number is signal.SIGSTOP else number  # held, and then ended
        _, told = ended(child)
        if "Traceback" in told:
            return f"{number.name}: {told[-300:]}"
        if number is not signal.SIGKILL and left_on(log):  # a simulated board dies with its host
            return f"{number.name}: the sensor stays fed"
        return what_is_left(own, log, captured=number is signal.SIGSTOP)

    return attempt


def _wait_for_words(child: subprocess.Popen[str], log: Path, n: int) -> None:
    until = time.monotonic() + PATIENCE_S
    while child.poll() is None and time.monotonic() < until:
        if log.exists() and len(log.read_text().splitlines()) >= n:
            return
        time.sleep(0.02)


def _send(child: subprocess.Popen[str], number: signal.Signals, random: Random) -> None:
    if child.poll() is not None:
        return
    child.send_signal(number)
    if number is signal.SIGSTOP:
        time.sleep(random.choice((0.5, 3.5)))
        child.send_signal(signal.SIGCONT)


def full_disk(folder: Path) -> Try:
    """No file can grow beyond a size, the journal among them: a status of ours, let go of, and what came is kept."""
    del folder
    if not shutil.which("prlimit"):
        raise CannotBeTriedError("prlimit is not there (Debian: util-linux)")

    def attempt(random: Random, own: Path) -> str:
        most = random.choice((200, 60_000, 197_000, 200_000))

        log = own / "log"
        child = started(*SWEEP, home=own, log=log, prefix=("prlimit", f"--fsize={most}:{most}"))
        _, told = ended(child)
        if "Traceback" in told:
            return told[-300:]
        return "the sensor stays fed" if left_on(log) else what_is_left(own, log, captured=False)

    return attempt


def two_hosts(folder: Path) -> Try:
    """Two programs, one folder, the same second: both captures, sheets and records, none replaced."""
    del folder

    def attempt(random: Random, own: Path) -> str:
        del random
        children = [started(*SWEEP, "--label", "S", home=own, log=own / f"log{k}", seed=k) for k in range(2)]
        told = [ended(child)[1] for child in children]
        if any("Traceback" in t for t in told) or [c.returncode for c in children] != [0, 0]:
            return f"status {[c.returncode for c in children]}: {' '.join(told)[-300:]}"
        captures = list((own / "captures").glob("*.sweep"))
        sheets = list((own / "captures").glob("*.html"))
        with open_store(find_places(environment(own)).records) as store:
            records = {record.capture_file for record in store.find()}
        if (len(captures), len(sheets), len(records)) != (2, 2, 2):
            return f"{len(captures)} captures, {len(sheets)} sheets, {len(records)} files in records"
        return ""

    return attempt


def _faketime() -> str:
    found = sorted(Path("/usr/lib").glob("*/faketime/libfaketime.so.1"))
    if not found or not shutil.which("faketime"):
        raise CannotBeTriedError("libfaketime is not installed (Debian: faketime)")
    return str(found[0])


def clocks(folder: Path) -> Try:
    """A sweep across a seam of the calendar, in summer time and out of it, or with a clock that jumps: as ever."""
    del folder
    library = _faketime()

    def attempt(random: Random, own: Path) -> str:
        zone, when = random.choice(SEAMS)
        clock, log = own / "clock", own / "log"
        clock.write_text(f"@{when}\n")
        child = started(
            *SWEEP, "--json", home=own, log=log, TZ=zone, LD_PRELOAD=library, FAKETIME_TIMESTAMP_FILE=str(clock),
            FAKETIME_CACHE_DURATION="1", DONT_FAKE_MONOTONIC="1", FAKETIME_DONT_FAKE_MONOTONIC="1",
        )  # fmt: skip
        if random.random() < 0.5:
            _wait_for_words(child, log, random.randrange(4, 12))
            _jump(clock, random)
        said, told = ended(child)
        if child.returncode != 0:
            return f"{zone} {when}: status {child.returncode}: {told[-300:]}"
        result = json.loads(said)
        aware = datetime.fromisoformat(result["made_at"]).tzinfo is not None
        if (result["verdict"], result["data_blocks_lost"], aware) != ("pass", 0, True):
            return f"{zone} {when}: {result['verdict']}, {result['data_blocks_lost']} lost, made {result['made_at']}"
        return what_is_left(own, log, captured=True)

    return attempt


def _jump(clock: Path, random: Random) -> None:
    other = clock.with_name("next")
    other.write_text(random.choice(("@2001-01-01 00:00:00\n", "@2060-06-01 12:00:00\n", "-1h\n", "+3d\n")))
    other.replace(clock)


ATTACKS: dict[str, Attack] = {
    "program, signals": killed,
    "program, full disk": full_disk,
    "program, two hosts": two_hosts,
    "program, clock": clocks,
}
