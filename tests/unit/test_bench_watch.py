"""The live reading as a state, and the view as a pure function of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from support.day_traces import flat_trace, with_dip
from sweeprig.bench.readings.watch import FOLLOWS, NOT_KNOWN, STILL, Watcher, state_json
from sweeprig.cli.views.live import big, flag_line, plain_line, ruler_lines, view_lines
from sweeprig.judge.profile import load_profile
from sweeprig.words import Sense

PROFILE = load_profile("adjustable-potentiometer")


def fed(*steps: tuple[float, float], starts_closed: bool = True, supply_v: float | None = 5.0) -> Watcher:
    """A watcher that has seen (volts, seconds) one after another."""
    watcher, at = Watcher(PROFILE, starts_closed=starts_closed), 0.0
    for volts, seconds in steps:
        done = 0.0
        while done < seconds - 1e-9:
            watcher.feed(flat_trace(volts, start_s=at, seconds=0.1, supply_v=supply_v))
            at, done = at + 0.1, done + 0.1
    return watcher


def test_reading_is_a_median_and_spikes_stand_beside() -> None:
    watcher = fed((0.45, 1.0))
    watcher.feed(with_dip(flat_trace(0.45, start_s=1.0), 1.2, to_v=0.02))
    state = watcher.state()
    assert state.reading_v == pytest.approx(0.45, abs=1e-3)
    assert state.low_v == pytest.approx(0.45, abs=1e-3)
    assert state.spike_low_v == pytest.approx(0.02)


def test_sense_is_known_only_where_the_start_was_closed() -> None:
    assert fed((0.45, 0.5), (4.2, 0.5)).state().sense is Sense.RISING
    assert fed((4.2, 0.5), (0.45, 0.5)).state().sense is Sense.FALLING
    assert fed((0.45, 0.5), (4.2, 0.5), starts_closed=False).state().sense is Sense.UNKNOWN
    assert fed((0.45, 2.0)).state().sense is Sense.UNKNOWN


def test_following_is_said_while_it_moves_and_for_a_while_after() -> None:
    assert fed((0.45, 1.0)).state().follows == NOT_KNOWN
    assert fed((0.45, 1.0), (2.0, 1.0)).state().follows == FOLLOWS
    assert fed((0.45, 1.0), (2.0, 6.0)).state().follows == STILL


@pytest.mark.parametrize(
    ("volts", "where"),
    [(0.45, "clear"), (0.15, "near-lower"), (0.02, "at-lower"), (4.85, "near-upper"), (4.98, "at-upper")],
)
def test_margins_are_flagged_live(volts: float, where: str) -> None:
    state = fed((volts, 0.5)).state()
    assert state.flag.where == where
    marked = flag_line(state).strip().startswith("!")
    assert marked == (where != "clear")


def test_strip_keeps_the_last_seconds_with_their_extremes() -> None:
    watcher = fed((0.45, 5.0), (4.0, 25.0))
    strip = watcher.state(columns=40).strip
    assert len(strip) == 40
    assert all(s.high_v > 3.9 and s.low_v > 3.9 for s in strip)
    watcher.feed(with_dip(flat_trace(4.0, start_s=30.0), 30.2, to_v=0.1))
    assert watcher.state(columns=40).strip[-1].low_v == pytest.approx(0.1)


def test_without_supply_there_is_no_ratio_and_a_reason() -> None:
    data = state_json(fed((0.45, 0.5), supply_v=None).state())
    assert data["ratio"] is None
    assert data["supply_reason"] == "supply not observed"


@pytest.mark.parametrize("width", [20, 30, 41, 42, 60, 77, 78, 80, 132])
@pytest.mark.parametrize("height", [4, 8, 12, 19, 20, 24, 50])
def test_view_never_leaves_its_window(width: int, height: int) -> None:
    lines = view_lines(fed((0.45, 1.0), (4.2, 3.0)).state(columns=200), width, height)
    assert len(lines) <= height
    assert max(map(len, lines)) <= width


def test_small_window_keeps_reading_flag_and_ruler() -> None:
    text = "\n".join(view_lines(fed((0.12, 0.5)).state(), 40, 8))
    assert "0.120 V" in text
    assert "NEAR GROUND" in text
    assert "▒" in text


def test_reading_is_drawn_large_where_there_is_room() -> None:
    lines = view_lines(fed((0.45, 0.5)).state(), 80, 24)
    wide = [r for r in lines if r.count("█") > 10]
    assert len(wide) == 5
    assert len(big("0.450V", wide=True)[0]) <= 78


def test_digits_differ_from_each_other() -> None:
    shapes = {tuple(big(c, wide=False)) for c in "0123456789"}
    assert len(shapes) == 10


def test_colour_changes_no_text() -> None:
    import re

    state = fed((4.9, 1.0)).state()
    plain = view_lines(state, 80, 24, colour=False)
    painted = view_lines(state, 80, 24, colour=True)
    assert plain != painted
    assert [re.sub(r"\x1b\[[0-9;]*m", "", line) for line in painted] == plain
    assert "\x1b" not in "".join(plain)


def test_ruler_shows_the_reading_between_the_margins() -> None:
    (ruler,) = ruler_lines(fed((2.5, 0.5)).state(), 80)
    cells = ruler[ruler.index("┤") + 1 : ruler.index("├")]
    assert cells.index("█") == pytest.approx(len(cells) / 2, abs=1)
    assert cells.startswith("▒")
    assert cells.endswith("▒")


@pytest.mark.parametrize(("volts", "mark"), [(0.45, "█"), (0.20, "◀"), (0.80, "▶")])
def test_target_is_enlarged_above_the_ruler(volts: float, mark: str) -> None:
    state = replace(fed((volts, 0.5)).state(), target=(0.43, 0.45, 0.47))
    target, zoom, legend, _ = ruler_lines(state, 80)
    assert legend.strip() == "▽ target   ░ allowed   █ reading now"
    cells = zoom[zoom.index("┤") + 1 : zoom.index("├")]
    assert mark in cells
    assert abs(target.index("▽") - zoom.index("┤") - 1 - len(cells) / 2) <= 1
    assert 6 <= cells.count("░") <= 10  # a window of 40 mV on a scale of 320 mV: an eighth of 60
    assert (cells.index(mark) in (0, len(cells) - 1)) == (mark != "█")


def test_one_plain_line_where_there_is_no_screen() -> None:
    line = plain_line(fed((0.45, 0.5)).state())
    assert "0.450 V" in line
    assert "CLEAR" in line


@pytest.mark.parametrize("volts", [0.02, 0.15, 0.45, 4.85])
@pytest.mark.parametrize("width", [36, 40, 50, 60])
def test_no_word_is_cut_in_a_small_window(width: int, volts: float) -> None:
    state = fed((volts, 0.5)).state(columns=200)
    told = "from closed throttle at the start"
    message = "UP: turn so that the reading rises by 0.330 V, 6.6 degrees"
    state = replace(
        state,
        title="adjustable-potentiometer, powered",
        hint="q or Ctrl-C ends",
        sense_why=told,
        message=message,
    )
    whole = view_lines(state, 200, 50)
    known = {word for line in whole for word in line.split()} | set(message.split()) | {"single", "…"}
    for line in view_lines(state, width, 12):
        if "┤" not in line and "│" not in line:
            assert {word.rstrip(":,") for word in line.split()} <= {word.rstrip(":,") for word in known}


@pytest.mark.parametrize("height", [12, 20, 24, 40])
def test_no_line_of_a_live_reading_ends_in_a_cut(height: int) -> None:
    """`sense: unknown (--starts ...` was cut: what has no room is left out whole."""
    state = fed((0.45, 0.5), (4.2, 0.5), starts_closed=False).state(columns=200)
    for width in range(40, 121):
        lines = view_lines(state, width, height)
        assert not [line for line in lines if line.rstrip().endswith(("…", "--starts"))], width
        assert [line for line in lines if "sense: unknown" in line], width
        assert max(map(len, lines)) <= width


def test_small_window_keeps_the_distance_and_the_hint() -> None:
    state = replace(
        fed((0.12, 0.5)).state(),
        message="UP: turn so that the reading rises by 0.330 V, 6.6 degrees",
        hint="q: go on to the sweep",
    )
    lines = view_lines(state, 40, 12)
    text = " ".join(line.strip() for line in lines)
    assert "0.330 V, 6.6 degrees" in text
    assert lines[-1] == "  q: go on to the sweep"
    assert len(lines) <= 12
