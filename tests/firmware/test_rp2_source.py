"""The fast source on MicroPython's unix port, with a stand-in for the chip's registers, converter and DMA."""

from __future__ import annotations

import json
from typing import Any

import pytest

from support.pythons import CASES, micropython, printed
from sweepboard import wire

pytestmark = pytest.mark.micropython
STANDIN = CASES / "rp2_standin"
CHIPS = ("rp2040", "rp2350")
WINDOW = 166


def case(name: str, *arguments: object) -> dict[str, Any]:
    result: dict[str, Any] = json.loads(
        printed(micropython(), STANDIN / "cases.py", name, *arguments, heap="16m")
    )
    return result


def constants(record: list[Any]) -> list[int]:
    """Return the code of each channel of a record of constants; it must be one code throughout."""
    values = record[2]
    for channel in range(3):
        total, low, high = values[3 * channel : 3 * channel + 3]
        assert (total, high) == (WINDOW * low, low), f"channel {channel} is not constant: {values}"
    return [values[1], values[4], values[7]]


@pytest.mark.parametrize("chip", CHIPS)
def test_every_record_is_exactly_what_was_converted(chip: str) -> None:
    out = case("steady", chip)
    assert [record[0] for record in out["records"]] == list(range(80))
    for index, _flags, values in out["records"]:
        for channel in range(3):
            first = index * 3 * WINDOW + channel
            codes = [(channel * 1365 + (first + 3 * i) * 7) % 4096 for i in range(WINDOW)]
            assert values[3 * channel : 3 * channel + 3] == [sum(codes), min(codes), max(codes)]
    assert [record[1] for record in out["records"]] == [wire.FLAG_SPLICE] + [0] * 79
    assert (out["gaps"], out["lost"], out["errors"]) == ([], 0, 0)


@pytest.mark.parametrize("chip", CHIPS)
def test_an_overrun_never_rotates_the_channels(chip: str) -> None:
    out = case("overrun", chip)
    assert len(out["records"]) >= 6
    assert all(constants(record) == [1000, 2000, 3000] for record in out["records"])
    ((index, missing, reason),) = out["gaps"]
    assert (index, reason) == (3, wire.GAP_OVERRUN)
    assert [record[0] for record in out["records"]][3] == index + missing
    assert out["records"][3][1] == wire.FLAG_SPLICE
    assert out["lost"] == missing * 3 * WINDOW
    assert out["fcs_clear"]


def test_without_the_check_an_overrun_does_rotate_them() -> None:
    out = case("unguarded")
    last = out["records"][-1]
    assert constants(last) != [1000, 2000, 3000]
    assert sorted(constants(last)) == [1000, 2000, 3000]


@pytest.mark.parametrize(
    ("stall_us", "late_us", "reason"),
    [(40, 0, wire.GAP_OVERRUN), (0, 33 * 996, wire.GAP_DMA_LATE), (0, 45 * 996 + 500, wire.GAP_DMA_LATE)],
)
def test_the_index_stays_true_to_time_after_a_loss(stall_us: int, late_us: int, reason: int) -> None:
    out = case("true_to_time", stall_us, late_us)
    assert len(out["gaps"]) == 3
    assert {gap[2] for gap in out["gaps"]} == {reason}
    for index, _flags, values in out["records"]:
        assert values[:3] == [WINDOW * index, index, index]
    last = out["records"][-1][0]
    assert len(out["records"]) + sum(gap[1] for gap in out["gaps"]) == last + 1


def test_a_window_overwritten_while_it_was_reduced_says_so() -> None:
    out = case("overwritten")
    assert [bool(flags & wire.FLAG_CONVERSIONS_LOST) for flags in out["flags"]] == [True, False]
    assert (out["next"], out["gap"], out["lost"]) == (30, None, 3 * WINDOW)


def test_bad_conversion_is_counted_and_masked() -> None:
    out = case("errors")
    flags = [record[1] & ~wire.FLAG_SPLICE for record in out["records"]]
    assert flags == [0, wire.FLAG_CONVERSION_ERROR, 0]
    assert all(constants(record) == [1000, 2000, 3000] for record in out["records"])
    assert out["errors"] == 2


def test_nothing_is_allocated_while_sampling() -> None:
    assert case("locked")["taken"] == 100


def test_raw_gives_the_window_last_taken() -> None:
    assert case("raw")["records"] == [list(range(498)), list(range(498, 996))]


@pytest.mark.parametrize("chip", CHIPS)
def test_a_run_of_windows_is_what_each_of_them_is(chip: str) -> None:
    one_by_one, in_runs = case("run", chip, 0), case("run", chip, 1)
    assert in_runs == one_by_one
    assert in_runs[1] == [0, 1, 0]
    assert in_runs[3] == [5 * 498 * k % 4096 for k in range(6, -1, -1)]


def test_stop_frees_the_converter_and_start_begins_at_window_0() -> None:
    out = case("again")
    assert out["stopped"] == [0, 0, 0]
    assert len(out["records"]) == 4
    assert [record[1] for record in out["records"]] == [wire.FLAG_SPLICE, 0, wire.FLAG_SPLICE, 0]
    assert (out["gaps"], out["lost"], out["claimed"]) == ([], 0, 0)


@pytest.mark.parametrize("chip", CHIPS)
def test_the_analogue_pads_are_read_back(chip: str) -> None:
    out = case("pads", chip)
    assert out["before"] == [False] * 3
    assert out["after"] == [True] * 3
    for bit in (4, 8, 64):  # pull-down, pull-up, input buffer: RP2040 datasheet, section 2.19.6.3
        assert out[str(bit)] == [True, False, True]


def test_200_dropouts_of_12_us_are_all_seen() -> None:
    out = case("dropouts", 200, 2040)
    assert out["misses"] == []
    assert (out["seen"], out["trials"], out["gap"], out["lost"]) == (200, 200, None, 0)


@pytest.mark.parametrize(
    ("chip", "gpios", "first"),
    [
        ("rp2040", 30, 26),
        ("rp2350", 30, 26),
        ("rp2350", 48, 40),
    ],  # RP2350 datasheet, section 9.4, from memory
)
def test_each_package_reads_its_own_analogue_pins(chip: str, gpios: int, first: int) -> None:
    assert case("package", chip, gpios) == {"read": [first, first + 1, first + 2], "bare": [True] * 3}


def test_the_large_blocks_are_taken_once() -> None:
    """Whatever else is loaded later, no second block of 32 kB or 16 kB is asked for."""
    out = case("pools")
    assert out["same"]
    assert out["windows"] == [32, wire.WINDOW * wire.CHANNELS]
    assert out["counts"] == 4 * 4096
