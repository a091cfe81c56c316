"""What one button keeps on the board: the same under CPython and MicroPython's unix port."""

from __future__ import annotations

import json
import sys
from typing import Any

import pytest

from support.pythons import CASES, micropython, printed

SERVICE = [CASES / "service_parts"]


def case(python: str, *words: str, file: str = "keeper.py") -> Any:
    return json.loads(printed(python, CASES / "keep_parts" / file, *words, beside=SERVICE, heap="64m"))


def test_the_light_says_how_each_kind_of_sweep_went(python: str) -> None:
    out = case(python, "words")
    assert {name: found["word"] for name, found in out.items()} == {name: name for name in out}
    assert all(found["outputs"] == 0 for found in out.values())
    assert out["unmoved"]["kept"] == 0
    assert all(found["end"] == name for name, found in out.items() if name != "unmoved")


def test_what_is_kept_is_what_a_live_host_gets(python: str) -> None:
    out = case(python, "same_as_live")
    assert out["word"] == "kept"
    assert (out["same"], out["same_snapshots"], out["sha"]) == (True, True, True)
    assert out["n"] > 4000
    assert out["snapshots"] >= 1
    assert 602 <= out["lead"] <= 640  # 0.6 s before the movement
    assert out["dropped"] == 0


def test_a_power_cut_costs_the_third_sweep_only_in_part(python: str) -> None:
    out = case(python, "power_cut")
    assert out["said"] == ["kept", "kept"]
    assert (out["running"], out["n"], out["same"], out["cut_end"]) == (True, 3, True, None)
    assert out["cut_records"] > 1000
    assert out["outputs"] == 0


def test_a_press_without_a_valid_order_feeds_nothing(python: str) -> None:
    out = case(python, "refusals")
    for name, (refused, word, outputs, running) in out.items():
        assert (word, outputs, running) == ("order", 0, False), name
        assert bool(refused) == name.startswith("other") or name == "all done"


def test_the_light_at_rest_says_what_a_press_would_do(python: str) -> None:
    assert case(python, "at_rest") == {
        "none": "off", "other rig": "off", "ready": "ready", "expired": "order", "all done": "order",
    }  # fmt: skip


def test_a_press_is_answered_where_no_order_ever_was(python: str) -> None:
    assert case(python, "never_sent") == ["order", 0, True, "off"]


def test_a_board_without_the_memory_says_so_and_serves(python: str) -> None:
    error, *rest = case(python, "no_memory")
    assert error == "refused"  # not-now says that nothing is kept yet
    assert rest == ["this board has not the memory to keep sweeps", "order", 0]


def test_with_too_little_memory_no_place_is_made(python: str) -> None:
    refusal = ["refused", "this board has not the memory to keep sweeps"]
    assert case(python, "little_memory") == [[refusal, refusal, []]] * 2


def test_a_long_press_marks_the_last_sweep_unwanted(python: str) -> None:
    out = case(python, "unwanted")
    assert out == {"said": ["kept", "unwanted", "kept"], "unwanted": [True, False]}


def test_a_short_or_a_fed_sensor_is_let_go_at_once(python: str) -> None:
    out = case(python, "supplies")
    assert out["fed_by_harness"] == ["supply", 0, 0]
    word, outputs, on_for_ms = out["shorted"]
    assert (word, outputs) == ("supply", 0)
    assert 0 < on_for_ms < 250


def test_an_engine_that_runs_ends_the_sweep(python: str) -> None:
    assert case(python, "engine") == {
        "rests": ["kept", 0, 1],
        "disturbed": ["kept", 0, 1],
        "charges": ["engine", 0, 0],
        "started": ["engine", 0, 1],
        "over range": ["engine", 0, 1],
    }


def test_the_board_counts_as_many_readings_as_the_bench() -> None:
    from sweepboard.keep_watch import CHARGING
    from sweeprig.bench.readings.limits import limit

    assert limit("vehicle.charging_readings") == CHARGING


def test_a_host_that_returns_ends_the_sweep_first(python: str) -> None:
    out = case(python, "host_returns")
    assert out == {"was": True, "running": False, "outputs": 0, "end": "host", "keep": True, "streams": False}


def test_a_wiggle_order_keeps_presses_as_marks(python: str) -> None:
    out = case(python, "wiggle")
    assert (out["marks"], out["word"], out["running"]) == (3, "kept", False)


def test_a_full_memory_gives_up_what_does_not_count(python: str) -> None:
    out = case(python, "room")
    assert out["said"][:2] == ["kept", "fast"]
    assert out["said"][-1] == "memory"
    assert set(out["kept"]) == {"kept"}
    assert len(out["kept"]) == out["said"].count("kept")


def test_an_order_that_can_never_fit_is_refused(python: str) -> None:
    out = case(python, "small_area")
    assert out["refused"] == "it needs 57 blocks of flash, not below 34"
    assert out["said"] == ["kept", "memory"]
    assert out["outputs"] == 0


def test_in_no_reachable_state_a_tapped_order_feeds() -> None:
    out = case(sys.executable, "100", "25", file="safety.py")
    assert out["n_wrong"] == 0, out["wrong"]
    assert out["fed"] > 10  # powered orders did feed, so that the watch has something to see
    assert out["tapped"] > 10
    assert out["pressed"] > 300


@pytest.mark.micropython
def test_the_boards_own_python_feeds_no_tapped_order() -> None:
    out = case(micropython(), "500", "3", file="safety.py")
    assert out["n_wrong"] == 0, out["wrong"]
    assert out["pressed"] > 20
