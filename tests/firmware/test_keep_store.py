"""What is kept on the board, in memory that loses its power: the same under CPython and MicroPython."""

from __future__ import annotations

import json
import sys
from typing import Any

import pytest

from support.pythons import CASES, micropython, printed

PARTS = CASES / "keep_parts"


def case(python: str, name: str, *arguments: int, file: str = "cases.py") -> Any:
    return json.loads(printed(python, PARTS / file, name, *arguments, heap="64m"))


def test_packed_records_come_back_bit_for_bit(python: str) -> None:
    out = case(python, "packing", 1, 300)
    assert (out["wrong"], out["other"]) == (0, 0)


@pytest.mark.micropython
def test_both_pythons_pack_to_the_same_bytes() -> None:
    assert case(micropython(), "packing", 2, 100) == case(sys.executable, "packing", 2, 100)


def test_loops_in_viper_give_the_same_numbers(python: str) -> None:
    out = case(python, "loops", 3, 400)
    assert out["wrong"] == 0
    assert 50 < out["overloads"] < 350


def test_damaged_packed_records_raise_only_value_error(python: str) -> None:
    assert case(python, "damaged", 2, 300) == 0


def test_1000_power_cuts_leave_no_wrong_value(python: str) -> None:
    out = case(python, "cuts", 1, 1000)
    assert out["n_wrong"] == 0, out["wrong"]
    assert out["stray"] == 0
    assert out["kept"] > 300
    assert out["erases"] > 1000
    assert out["marked"] > 50


def test_a_worn_block_is_never_called_kept(python: str) -> None:
    out = case(python, "worn", 3, 40)
    assert out["wrong"] == []
    assert out["told"] > 5


@pytest.mark.micropython
def test_blocks_in_files_live_beside_littlefs() -> None:
    out = case(micropython(), "lives_with_littlefs", file="disk.py")
    assert out == {"wrong": [], "clean": 40, "numbers": 3, "kept": 3}


@pytest.mark.micropython
def test_blocks_of_removed_files_are_never_written_to() -> None:
    out = case(micropython(), "files_that_are_gone", file="disk.py")
    assert out["before"] == [True] * 8
    assert out["after"] == [False] * 3 + [True] * 5  # removed, restored from a copy, written anew
    assert (out["foreign"], out["other"]) == (0, True)
    assert out["written"] == out["ready"] == 5


@pytest.mark.micropython
def test_a_disk_without_room_is_left_alone() -> None:
    assert case(micropython(), "no_room", file="disk.py") == "118 blocks are free, 136 are needed"
