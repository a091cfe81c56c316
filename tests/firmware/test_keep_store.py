"""What is kept on the board, in memory that loses its power: the same under CPython and MicroPython."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent
PARTS = HERE / "keep_parts"
FIRMWARE = HERE.parents[1] / "firmware"


@pytest.fixture(params=["cpython", pytest.param("micropython", marks=pytest.mark.micropython)])
def python(request: pytest.FixtureRequest) -> str:
    if request.param == "cpython":
        return sys.executable
    beside = Path(sys.executable).with_name("micropython")
    program = str(beside) if beside.exists() else shutil.which("micropython")
    assert program
    return program


@pytest.fixture
def micropython() -> str:
    beside = Path(sys.executable).with_name("micropython")
    return str(beside) if beside.exists() else "micropython"


def case(python: str, name: str, *arguments: int, file: str = "cases.py") -> Any:
    heap = ["-X", "heapsize=64m"] if "micropython" in python else []
    path = f"{FIRMWARE}:{PARTS}"
    done = subprocess.run(
        [python, *heap, str(PARTS / file), name, *map(str, arguments)],
        env=os.environ | {"MICROPYPATH": path, "PYTHONPATH": path},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return json.loads(done.stdout)


def test_packed_records_come_back_bit_for_bit(python: str) -> None:
    out = case(python, "packing", 1, 300)
    assert (out["wrong"], out["other"]) == (0, 0)


def test_both_pythons_pack_to_the_same_bytes() -> None:
    beside = Path(sys.executable).with_name("micropython")
    if not beside.exists():
        pytest.skip("micropython is not installed")
    assert case(str(beside), "packing", 2, 100) == case(sys.executable, "packing", 2, 100)


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
def test_blocks_in_files_live_beside_littlefs(micropython: str) -> None:
    out = case(micropython, "lives_with_littlefs", file="disk.py")
    assert out == {"wrong": [], "clean": 40, "numbers": 3, "kept": 3}


@pytest.mark.micropython
def test_blocks_of_removed_files_are_never_written_to(micropython: str) -> None:
    out = case(micropython, "files_that_are_gone", file="disk.py")
    assert out["before"] == [True] * 8
    assert out["after"] == [False] * 3 + [True] * 5  # removed, restored from a copy, written anew
    assert (out["foreign"], out["other"]) == (0, True)
    assert out["written"] == out["ready"] == 5


@pytest.mark.micropython
def test_a_disk_without_room_is_left_alone(micropython: str) -> None:
    assert case(micropython, "no_room", file="disk.py") == "118 blocks are free, 136 are needed"
