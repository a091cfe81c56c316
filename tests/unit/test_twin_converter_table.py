"""A published transfer table as the simulated rig's converter."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sweepboard import wire
from sweeprig.errors import InputError
from sweeprig.twin.converter import draw_converter
from sweeprig.twin.converter_table import read_converter
from sweeprig.twin.sim_url import parse
from sweeprig.twin.simulated import make_world

LSB_V = 3.3 / 4096


def written(folder: Path, levels: np.ndarray, every: int = 1, vref_v: float = 3.3) -> Path:
    """A table of where codes begin; `levels` (4095,) in LSB."""
    rows = [f"{k + 1},{levels[k] * vref_v / 4096:.8f}" for k in range(0, 4095, every)]
    file = folder / "board.csv"
    file.write_text("\n".join((f"# vref_v = {vref_v}", "code,input_v", *rows)), encoding="utf-8")
    return file


def test_a_written_converter_comes_back(tmp_path: Path) -> None:
    drawn = draw_converter("rp2350", np.random.default_rng(3))
    for vref_v in (3.3, 3.0):
        read = read_converter(written(tmp_path, drawn.levels, vref_v=vref_v), noise_lsb=0.5)
        assert read.levels == pytest.approx(drawn.levels, abs=1e-4)
        assert read.noise_lsb == 0.5


def test_codes_that_are_left_out_are_straight_between(tmp_path: Path) -> None:
    levels = np.arange(1.0, 4096.0) * 1.01 + 5.0
    read = read_converter(written(tmp_path, levels, every=64), noise_lsb=0.5)
    assert read.levels == pytest.approx(levels, abs=0.02 * 64)
    inside = slice(0, 4033)
    assert read.levels[inside] == pytest.approx(levels[inside], abs=1e-4)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("code,volts\n1,0.1\n", "code,input_v"),
        ("code,input_v\n1,0.001\n2,x\n", "line 3"),
        ("code,input_v\n1,0.001\n3000,2.4\n2000,1.6\n", "line 4"),
        ("code,input_v\n1,0.5\n3000,0.4\n", "line 3"),
        ("code,input_v\n1,0.001\n900,0.7\n", "codes"),
        ("code,input_v\n-1,0.001\n4000,3.2\n", "line 2"),
        ("# vref_v = 0\ncode,input_v\n1,0.001\n4000,3.2\n", "vref_v"),
        ("", "code,input_v"),
    ],
)
def test_a_table_that_is_none_is_named_with_its_line(tmp_path: Path, text: str, said: str) -> None:
    file = tmp_path / "bad.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_converter(file, noise_lsb=0.5)
    assert said in str(caught.value)
    assert "bad.csv" in str(caught.value)


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.csv"):
        read_converter(tmp_path / "none.csv", noise_lsb=0.5)


def test_the_address_puts_a_table_into_the_rig(tmp_path: Path) -> None:
    """A converter that begins every code 40 LSB late reads 40 codes less at the same voltage."""
    early, late = (np.arange(1.0, 4096.0) + shift for shift in (0.0, 40.0))
    found = []
    for levels in (early, late):
        file = written(tmp_path, levels)
        world = make_world(parse(f"sim://bench-voltage?seed=5&volts=2.5&converter={file}"), 1)
        found.append(world.raw(50, wire.OUT_SUPPLY).astype(float).mean())
    assert found[0] - found[1] == pytest.approx(40.0, abs=0.1)


def test_an_address_without_a_file_name_is_refused() -> None:
    with pytest.raises(InputError, match="converter"):
        parse("sim://good?converter=")
