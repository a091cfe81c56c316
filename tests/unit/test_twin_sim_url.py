"""URLs of simulated rigs, and the pace at which their windows are given."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from sweepboard.flash_page import BLOCK, BLOCK_HEAD, PAGE
from sweepboard.simulated_keeping import NAME, FileArea, FileKeeping
from sweeprig.bench.calibration.points import wanted_volts
from sweeprig.errors import InputError
from sweeprig.twin.feed import MOST_WINDOWS, WINDOW_S, Feed, Shown
from sweeprig.twin.sim_url import BENCH_VOLTS, SimOptions, parse, uid_of
from sweeprig.twin.simulated import identity, make_world


def test_a_bare_name_has_the_defaults() -> None:
    assert parse("sim://worn") == SimOptions("worn")


def test_every_key_is_taken() -> None:
    found = parse(
        "sim://good?seed=7&pace=fast&vm=cpython&board=driven&chip=rp2350&hand=open&turn=-2.5&unplug_after=1"
    )
    assert found == SimOptions("good", 7, "fast", "cpython", "driven", "rp2350", "open", -2.5, 1.0)


@pytest.mark.parametrize(
    ("url", "match"),
    [
        ("sim://good?sed=1", "did you mean seed"),
        ("sim://good?seed=x", "a whole number"),
        ("sim://good?pace=slow", "one of real, fast"),
        ("sim://good?turn=nan", "a number of usual size"),
        ("sim://good?turn=", "turn: a number"),
        ("sim://good?unplug_after=-1", "0 or more seconds"),
        ("sim://good?press=1,-1", "0 or more seconds"),
        ("sim://good?press=", "press: a number"),
        ("sim://bench-voltage?volts=0.5,x", "volts: a number"),
        ("sim://bench-voltage?volts=0.5,12", "voltages of 0 to 5.5 V"),
        ("sim://good?volts=0.5", "volts only of bench-voltage"),
    ],
)
def test_what_is_not_understood_is_named(url: str, match: str) -> None:
    with pytest.raises(InputError) as caught:
        parse(url)
    assert match in str(caught.value)


class Still:
    """A world in which every conversion has the number of its start."""

    def __init__(self, n_starts: int) -> None:
        self.n_starts = n_starts

    def raw(self, n_windows: int, outputs: int) -> np.ndarray:
        return np.full(n_windows * 498, self.n_starts, np.uint16)

    def slow(self, outputs: int) -> Mapping[str, object]:
        return {"readings": [], "fault": False, "button": False}


class Clock:
    now = 50.0

    def __call__(self) -> float:
        return self.now


def n_windows(data: bytes) -> int:
    assert len(data) % (498 * 2) == 0
    return len(data) // (498 * 2)


def test_at_fast_pace_windows_are_there_when_asked_for() -> None:
    feed = Feed(Still, None)
    assert n_windows(feed.raw(0, 4)) == 4
    assert n_windows(feed.raw(0, 10_000)) == MOST_WINDOWS
    assert feed.seconds == pytest.approx((4 + MOST_WINDOWS) * WINDOW_S)


def test_at_real_pace_no_window_comes_before_it_is_due() -> None:
    clock = Clock()
    feed = Feed(Still, clock)
    total = 0
    assert feed.raw(0, 4) == b""
    for _ in range(1000):
        clock.now += 0.0007
        total += n_windows(feed.raw(0, 4))
    assert total == int(0.7 / WINDOW_S + 1e-9)


def test_time_stands_still_while_nobody_asks() -> None:
    clock = Clock()
    feed = Feed(Still, clock)
    feed.raw(0, 4)
    clock.now += 60.0
    assert feed.raw(0, 4) == b""
    clock.now += 2.1 * WINDOW_S
    assert n_windows(feed.raw(0, 4)) == 2


def test_the_button_is_down_while_pressed_at_every_start() -> None:
    feed = Feed(Still, None, presses=parse("sim://good?press=0.5,2").press)

    def presses() -> list[float]:
        found, before = [], False
        while feed.seconds < 3:
            feed.raw(0, 10)
            down = json.loads(feed.slow(0))["button"]
            found += [feed.seconds] if down and not before else []
            before = down
        return found

    assert presses() == pytest.approx([0.5, 2.0], abs=0.02)
    feed.restart()
    assert presses() == pytest.approx([0.5, 2.0], abs=0.02)


def test_what_the_rig_shows_is_kept_with_its_time() -> None:
    feed = Feed(Still, None)
    assert feed.light == "off"
    feed.raw(0, 50)
    feed.show("light", "slow")
    feed.show("buzzer", 120)
    assert feed.light == "slow"
    assert feed.shown == [Shown(50 * WINDOW_S, "light", "slow"), Shown(50 * WINDOW_S, "buzzer", 120)]


def test_each_start_has_its_own_world() -> None:
    feed = Feed(Still, None)
    feed.restart()
    assert set(np.frombuffer(feed.raw(0, 1), "<u2").tolist()) == {1}


def test_a_bench_voltage_gives_its_volts_one_start_after_another() -> None:
    options = parse("sim://bench-voltage?volts=0.5,2.5,4.5&board=full&seed=3")
    assert options.volts == (0.5, 2.5, 4.5)
    feed = Feed(partial(make_world, options), None)
    means = []
    for _ in range(4):
        feed.restart()
        codes = np.frombuffer(feed.raw(16, 50), "<u2").reshape(-1, 3)  # tapped
        assert np.ptp(codes.mean(axis=0)) < 60  # all three leads on it
        means.append(codes[:, 0].mean())
    assert means[1] - means[0] == pytest.approx(means[2] - means[1], rel=0.02)
    assert means[2] - means[0] == pytest.approx(4.0 * 0.6 / 3.3 * 4096, rel=0.02)
    assert means[3] == pytest.approx(means[2], abs=1.0)  # the last one stays


def test_a_bench_voltage_gives_what_a_calibration_asks() -> None:
    assert list(BENCH_VOLTS) == wanted_volts(len(BENCH_VOLTS))
    codes = make_world(parse("sim://bench-voltage"), 5).raw(20, 16)
    assert codes.mean() == pytest.approx(4.8 * 0.6 / 3.3 * 4096, rel=0.02)


def test_what_the_board_keeps_is_named_from_where_the_host_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)  # the board's program runs in another folder
    assert identity(parse("sim://good?kept=flash.bin"))["kept"] == str(tmp_path / "flash.bin")


@pytest.mark.parametrize(
    "data",
    [b"", b"PK" * 1024, b"x" * 100, b"y" * (3 * BLOCK + NAME), b"\xff" * 5 * BLOCK, bytes(3 * BLOCK + NAME)],
)
def test_a_file_that_is_no_flash_is_left_as_it_is(tmp_path: Path, data: bytes) -> None:
    file = tmp_path / "other.sweep"
    file.write_bytes(data)
    with pytest.raises(InputError, match="not the flash of a simulated board"):
        identity(SimOptions("good", kept=str(file)))
    assert file.read_bytes() == data


def test_the_flash_of_a_simulated_board_is_taken_again(tmp_path: Path) -> None:
    file = tmp_path / "flash"
    assert identity(SimOptions("good", kept=str(file)))["kept"] == str(file)
    FileKeeping(str(file)).grow(3)
    area = FileArea(str(file))
    area.erase(1)
    area.program(2, bytes(BLOCK_HEAD) + b"\xff" * (PAGE - BLOCK_HEAD), 0)  # a sweep that was removed
    area.close()
    assert identity(SimOptions("good", kept=str(file)))["kept"] == str(file)
    with pytest.raises(InputError, match="folder is missing"):
        identity(SimOptions("good", kept=str(tmp_path / "none" / "flash")))


def test_another_build_or_chip_is_another_rig() -> None:
    uids = [uid_of(board, chip, 7) for board in ("full", "plain", "driven") for chip in ("rp2040", "rp2350")]
    assert len(set(uids)) == 6
    assert uids[0] == "5100000000000007"
    assert identity(parse("sim://good?board=driven&seed=7"))["uid"] == uid_of("driven", "rp2040", 7)
