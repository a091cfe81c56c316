"""A rehearsal at a real terminal: the prompts of a real rig, the lever moved and the sensor turned by keys."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from support.terminal import Terminal
from sweeprig.capture.file import write_capture
from sweeprig.errors import InputError
from sweeprig.twin.capture import capture_of
from sweeprig.twin.hands import Hand
from sweeprig.twin.rehearsal import Bench, KeyedPath
from sweeprig.twin.sim_url import parse
from sweeprig.twin.simulated import make_world

PORT = "sim://{}?pace=fast&vm=cpython&seed=3&rehearse=yes"
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")


@contextmanager
def terminal(*args: str, home: Path, columns: int = 80, rows: int = 24) -> Iterator[Terminal]:
    made = Terminal("-m", "sweeprig", *args, home=home, columns=columns, rows=rows)
    try:
        yield made
    finally:
        made.close()


def strokes(t: Terminal) -> None:
    """Move the lever as the screen asks: three strokes."""
    t.until(lambda t: "Move the lever to begin" in t.text())
    t.send("o")
    t.until(lambda t: "strokes 1 of 3" in t.text() and "Aim for 1.5 s" in t.text())
    t.send("c")
    t.until(lambda t: "strokes 2 of 3" in t.text() and "Aim for 1.5 s" in t.text())
    t.send("o")


def test_a_sweep_is_rehearsed_with_prompts_and_keys(tmp_path: Path) -> None:
    with terminal("sweep", "--port", PORT.format("good"), home=tmp_path) as t:
        t.until_asked("OFF the harness")
        t.send("y\n")
        t.until(lambda t: "rehearsal: o opens" in t.text())
        strokes(t)
        assert t.end() == 0, t.text()
        assert "Both ends keep clear of ground and supply" in t.text()
        assert "SIMULATED" in t.text()


def test_a_series_is_rehearsed_and_serials_move_no_lever(tmp_path: Path) -> None:
    args = ("sweep", "--series", "--batch", "crate", "--port", PORT.format("good"), "--confirm", "plug-off")
    with terminal(*args, home=tmp_path) as t:
        t.until(lambda t: "serial: _" in t.text())
        t.send("och-7\n")
        t.until(lambda t: "och-7   sweep 1" in t.text())
        t.until(lambda t: "seen 0.4" in t.text())
        strokes(t)
        t.until(lambda t: "(sensor 1 done)" in t.text())
        t.send("\x04")
        assert t.end() == 0, t.text()
        assert "och-7" in t.text()


def test_a_rehearsed_prompt_that_is_refused_feeds_nothing(tmp_path: Path) -> None:
    with terminal("sweep", "--port", PORT.format("good"), home=tmp_path) as t:
        t.until_asked("OFF the harness")
        t.send("n\n")
        assert t.end() == 5
        assert "no overload" not in t.text()


def test_the_lever_of_a_check_is_moved_by_keys(tmp_path: Path) -> None:
    with terminal("check", "--port", PORT.format("good"), "--move", "60", home=tmp_path) as t:
        t.until_asked("OFF the harness")
        t.send("y\n")
        t.until(lambda t: "move the lever slowly to OPEN" in t.text())
        t.send("o")
        assert t.end() == 0, t.text()


def test_a_sensor_is_turned_on_its_mount_by_keys(tmp_path: Path) -> None:
    """No plug is moved between the sweeps of one run: it is asked for once."""
    args = ("aim", "--mount", "slotted", "--port", PORT.format("badly-mounted"))
    with terminal(*args, home=tmp_path) as t:
        t.until_asked("OFF the harness")
        t.send("y\n")
        strokes(t)
        t.until_asked("turning above are read")
        for end in ("tightening moves the sensor.", "base stop", "Raise the closed reading"):
            assert end in t.text(), "plan and cautions stand on the screen with their question"
        t.send("y\n")
        t.until(lambda t: "aim: lever at the base stop" in t.text())
        t.send("c")  # the sweep has ended at open throttle
        t.until(lambda t: "UP: turn" in t.text())
        t.send("+" * 15)  # 7.5 degrees
        t.until(lambda t: "INSIDE the window" in t.text())
        strokes(t)
        assert t.end() in {0, 11}, t.text()
        assert "Closed throttle too near" not in t.text()
        assert t.raw.count(b"[y/N]") == 2


def test_a_sensor_is_not_turned_where_cautions_are_not_read(tmp_path: Path) -> None:
    before = write_capture(tmp_path / "before.sweep", capture_of("badly-mounted", seed=3, seconds=6.0))
    args = ("aim", "--mount", "slotted", "--from", before.path, "--port", PORT.format("badly-mounted"))
    with terminal(*args, home=tmp_path) as t:
        t.until_asked("turning above are read")
        t.send("n\n")
        assert t.end() == 5
        assert "no overload" not in t.text()


def test_a_keyed_lever_moves_smoothly_and_stays() -> None:
    bench = Bench()
    path = KeyedPath(bench, Hand(stroke_s=(1.5, 1.5)), dt_s=1e-3)
    assert not path.take(100).any()
    bench.press("o")
    first = path.take(700)
    bench.press("c")  # half way, the hand changes its mind
    way = np.concatenate([first, path.take(3000)])
    assert way.max() < 0.7
    assert way[-1] == 0.0
    assert np.abs(np.diff(way)).max() < 2e-3


def test_no_hand_stops_twice_at_one_place_on_the_way() -> None:
    """Only a stop holds it there: a level met again and again half way would pass for one."""
    bench, places = Bench(), []
    for _ in range(4):
        bench.press("h")
        places.append(bench.goal)
        bench.press("c")
    assert all(abs(p - 0.5) < 0.1 for p in places)
    assert min(np.diff(sorted(places))) > 0.01
    assert bench.goal == 0.0


@pytest.mark.parametrize("stroke_s", [0.5, 2.0])
def test_the_url_says_how_long_a_keyed_stroke_takes(stroke_s: float) -> None:
    spec = make_world(parse(f"sim://good?rehearse=yes&stroke={stroke_s}")).spec  # type: ignore[attr-defined]
    bench = Bench()
    path = KeyedPath(bench, spec.hand, dt_s=1e-3)
    bench.press("o")
    way = path.take(3000)
    assert np.count_nonzero(np.diff(way)) == pytest.approx(stroke_s * 1000, abs=2)


@pytest.mark.parametrize("text", ["0", "61", "nan", "slow"])
def test_a_stroke_that_no_hand_makes_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="stroke"):
        parse(f"sim://good?rehearse=yes&stroke={text}")


def test_keys_turn_the_sensor_both_ways() -> None:
    from sweeprig.twin import rehearsal

    rehearsal.BENCH.press("+++-x")
    try:
        turned = make_world(parse("sim://good?rehearse=yes")).spec  # type: ignore[attr-defined]
    finally:
        rehearsal.BENCH.press("--")
    plain = make_world(parse("sim://good")).spec  # type: ignore[attr-defined]
    assert turned.closed_v - plain.closed_v == pytest.approx((plain.open_v - plain.closed_v) / 90.0)
    assert turned.lever == "keys"
