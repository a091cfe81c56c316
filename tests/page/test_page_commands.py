"""Watch, wiggle, series and aim with a page: what a phone sees and may press."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from run import Run
from world import Served

from support.terminal import Terminal
from sweeprig.page.hub import Hub

STILL = "sim://good?hand=still&vm=cpython&seed=3"
CONFIRMED = ("--page", "--confirm", "plug-off", "--port")


def _keys(scene: dict[str, Any]) -> list[str]:
    return [a["key"] for a in scene["actions"]]


def test_a_live_reading_is_seen_and_ended_by_a_phone(tmp_path: Path) -> None:
    with Run("watch", *CONFIRMED, STILL, home=tmp_path) as run:
        cookie = run.cookie()
        phone = run.follow(cookie)
        seen = phone.until(lambda s: s["digits"].startswith("0.4"))
        assert seen["flag"].startswith("CLEAR of both rails")
        assert seen["bar"]["top_v"] == pytest.approx(5.0, abs=0.1)
        assert seen["off"] is True
        assert run.order(cookie, do="key", key="q") == ""
        phone.next("bye")
        assert run.process.wait(20) == 0
        phone.close()


def test_switching_off_ends_a_live_reading(tmp_path: Path) -> None:
    with Run("watch", *CONFIRMED, STILL, home=tmp_path) as run:
        cookie = run.cookie()
        phone = run.follow(cookie)
        phone.until(lambda s: s["kind"] == "live")
        assert run.order(run.cookie(), do="off") == ""
        phone.next("bye")
        assert run.process.wait(20) == 0
        phone.close()


def test_a_phone_marks_places_of_a_wiggle_test(tmp_path: Path) -> None:
    with Run("wiggle", *CONFIRMED, STILL, "--seconds", "600", home=tmp_path) as run:
        cookie = run.cookie()
        phone = run.follow(cookie)
        assert phone.until(lambda s: s["kind"] == "live")["say"].startswith("not marked")
        assert run.order(cookie, do="key", key="2") == ""
        phone.scene("bulkhead")
        assert run.order(cookie, do="key", key=" ") == ""
        phone.scene("controller end")
        assert run.order(cookie, do="key", key="q") == ""
        assert phone.verdict()["say"] == "undecided"
        phone.close()


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

    def until(self, words: str) -> str:
        """Return the terminal's text once it holds these words."""
        while words not in (text := self.terminal.text()):
            assert self._reader.is_alive(), text
            self._news.wait(1.0)
            self._news.clear()
        return text

    def end(self) -> int:
        self._reader.join()
        return self.terminal.process.wait(20)


@pytest.fixture
def terminals(tmp_path: Path) -> Iterator[Any]:
    made: list[Terminal] = []
    benches: list[Bench] = []

    def start(*args: str) -> Bench:
        made.append(Terminal("-m", "sweeprig", *args, home=tmp_path, columns=200, rows=40))
        benches.append(Bench(made[-1]))
        return benches[-1]

    yield start
    for terminal in made:
        if terminal.process.poll() is None:
            terminal.process.kill()
            terminal.process.wait()
    for bench in benches:
        bench.end()
        bench.terminal.close()


def test_a_phone_goes_on_to_the_next_sensor_and_repeats_it(terminals: Any) -> None:
    fast = "sim://good?pace=fast&vm=cpython&seed=3"
    bench = terminals("sweep", "--series", "--batch", "crate", *CONFIRMED, fast)
    cookie = bench.cookie()
    phone = bench.follow(cookie)
    assert _keys(phone.scene("PUT ON THE FIRST SENSOR")) == ["\r"]
    assert bench.order(cookie, do="key", key="\r") == ""
    card = phone.verdict()
    assert card["title"] == "crate-001"
    assert _keys(card) == ["\r", " "]
    assert bench.order(cookie, do="key", key=" ") == ""
    assert phone.until(lambda s: s["kind"] == "live")["title"] == "crate-001   sweep 2"
    phone.verdict()
    bench.terminal.send("\x04")
    assert bench.end() == 0
    phone.close()


def test_a_terminal_repeats_a_sweep_beside_a_page_and_ends_it(terminals: Any) -> None:
    bench = terminals("sweep", *CONFIRMED, "sim://good?pace=fast&vm=cpython&seed=3")
    phone = bench.follow(bench.cookie())
    phone.verdict()
    bench.until("Enter ends")
    bench.terminal.send(" ")
    phone.until(lambda s: s["kind"] == "live")
    phone.verdict()
    bench.terminal.send("\r")
    assert bench.end() == 0
    assert bench.terminal.restored
    phone.close()


def test_a_phone_reads_what_turning_will_do(tmp_path: Path) -> None:
    fast = "sim://badly-mounted?pace=fast&vm=cpython&seed=3"
    with Run("aim", "--mount", "slotted", "--plan", *CONFIRMED, fast, home=tmp_path) as run:
        phone = run.follow(run.cookie())
        plan = phone.scene("TO BE TURNED")
        assert plan["under"] == "Both ends are within limits after the move."
        assert any(line.startswith("Move: ") for line in plan["facts"])
        phone.close()


def test_one_page_stands_beside_the_whole_guide(tmp_path: Path) -> None:
    """No step waits for the page, and the terminal's questions stay at the terminal."""
    fast = "sim://good?pace=fast&vm=cpython&seed=3"
    answers = "".join(f"{a}\n" for a in ("b", "shelf 3", "", "y", "y", "y", "n", "?"))
    with Run("guide", "--page", "--port", fast, home=tmp_path, typed=answers) as run:
        phone = run.follow(run.cookie())
        assert phone.scene("LOOK AT THE TERMINAL")["actions"] == []
        run.type()
        phone.until(lambda s: s["kind"] == "live" and s["say"] == "HOLD OPEN")
        assert phone.verdict()["say"] == "pass"
        phone.next("bye")
        assert run.process.wait(20) == 0
        phone.close()
