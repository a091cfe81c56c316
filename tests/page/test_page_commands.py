"""Watch, wiggle, series and aim with a page: what a phone sees and may press."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from run import Run

STILL = "sim://good?hand=still&vm=cpython&seed=3"
CONFIRMED = ("--page", "--confirm", "plug-off", "--port")


def _keys(scene: dict[str, Any]) -> list[str]:
    return [a["key"] for a in scene["actions"]]


def test_a_live_reading_is_seen_and_ended_by_a_phone(tmp_path: Path) -> None:
    with Run("watch", *CONFIRMED, STILL, home=tmp_path) as run:
        cookie = run.cookie()
        phone = run.follow(cookie)
        seen = phone.until(lambda s: s["digits"].startswith("0.4"))
        assert seen["flag"].startswith("CLEAR of ground and supply")
        assert seen["bar"]["top_v"] == pytest.approx(5.0, abs=0.1)
        assert seen["off"] is True
        assert run.order(cookie, do="key", key="q") == ""
        phone.next("bye")
        assert run.process.wait(300) == 0
        phone.close()


def test_switching_off_ends_a_live_reading(tmp_path: Path) -> None:
    with Run("watch", *CONFIRMED, STILL, home=tmp_path) as run:
        cookie = run.cookie()
        phone = run.follow(cookie)
        phone.until(lambda s: s["kind"] == "live")
        assert run.order(run.cookie(), do="off") == ""
        phone.next("bye")
        assert run.process.wait(300) == 0
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
    assert "review 1 --profile" in " ".join(phone.verdict()["facts"])
    bench.until("Enter ends")
    bench.terminal.send(" ")
    phone.until(lambda s: s["kind"] == "live")
    phone.verdict()
    bench.until("Enter ends", times=2)  # a key that comes before the question is not read
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
        assert any(line.startswith("Raise the closed reading by ") for line in plan["facts"])
        phone.close()


def test_one_page_stands_beside_the_whole_guide(tmp_path: Path) -> None:
    """No step waits for the page, and the terminal's questions stay at the terminal."""
    fast = "sim://good?pace=fast&vm=cpython&seed=3"
    answers = "".join(f"{a}\n" for a in ("b", "shelf 3", "", "y", "y", "y", "n", "?"))
    with Run("guide", "--page", "--port", fast, home=tmp_path, typed=answers) as run:
        phone = run.follow(run.cookie())
        assert phone.scene("LOOK AT THE TERMINAL")["actions"] == []
        run.type()
        phone.until(lambda s: s["kind"] == "live")
        assert phone.verdict()["say"] == "pass"
        phone.next("bye")
        assert run.process.wait(300) == 0
        phone.close()
