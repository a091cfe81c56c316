"""A command with a page, as a program of its own; the test is its phone."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import threading
from pathlib import Path
from typing import Self

from world import GIVE_UP_S, Served

from support.terminal import Terminal
from sweeprig.page.hub import Hub

HANGS_S = 240.0  # for a command that hangs; a good one never comes near it


class Run(Served):
    """One command. Use it in a `with`: it is ended with the block. `key` is that of its address."""

    def __init__(self, *args: str, home: Path, typed: str | None = None) -> None:
        env = {**os.environ, "SWEEPRIG_HOME": str(home), "NO_COLOR": "1", "PYTHONUNBUFFERED": "1"}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "sweeprig", *args],
            stdin=subprocess.DEVNULL if typed is None else subprocess.PIPE,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=env,
        )  # fmt: skip
        self._alarm = threading.Timer(HANGS_S, self.process.kill)
        self._alarm.start()
        self.said: list[str] = []
        super().__init__(Hub(), 0)
        found = re.search(r"Page: http://127\.0\.0\.1:(\d+)/key/(\S+)", self.until("Page: "))
        assert found, self.said
        self.port, self.key = int(found[1]), found[2]
        self._typed = typed

    def type(self) -> None:
        """Type what was given."""
        assert self.process.stdin is not None
        assert self._typed is not None
        self.process.stdin.write(self._typed)
        self.process.stdin.flush()

    def until(self, words: str) -> str:
        """Return the next line of standard error that holds these words."""
        assert self.process.stderr is not None
        for line in self.process.stderr:
            self.said.append(line)
            if words in line:
                return line
        raise AssertionError("".join(self.said))

    def end(self) -> int:
        """Tell it to end; return its exit status."""
        self.process.terminate()
        out, err = self.process.communicate(timeout=GIVE_UP_S)
        self.said += [out, err]
        return self.process.returncode

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._alarm.cancel()
        if self.process.poll() is None:
            self.process.kill()
        self.process.communicate()


class Bench(Served):
    """A command at a terminal, with a page. A thread reads the terminal, which would fill up while the phone waits."""

    def __init__(self, terminal: Terminal) -> None:
        self.terminal = terminal
        self._news = threading.Event()
        self._reader = threading.Thread(target=self._read)
        self._reader.start()
        found = re.search(r"Page: http://127\.0\.0\.1:(\d+)/key/(\S+)", self.until("Page: http"))
        assert found
        super().__init__(Hub(), int(found[1]), found[2])

    def _read(self) -> None:
        while self.terminal._read():
            self._news.set()
        self._news.set()

    def until(self, words: str, *, times: int = 1) -> str:
        """Return all that was written to the terminal once it holds these words, so many times.

        Not the screen: what comes in one piece with the end of a view is not drawn there.
        """
        while (text := self.terminal.raw.decode("utf-8", "ignore")).count(words) < times:
            assert self._reader.is_alive(), text
            self._news.wait(1.0)
            self._news.clear()
        return text

    def end(self) -> int:
        self._reader.join(GIVE_UP_S)
        assert not self._reader.is_alive(), self.terminal.raw[-2000:]
        return self.terminal.process.wait(GIVE_UP_S)
