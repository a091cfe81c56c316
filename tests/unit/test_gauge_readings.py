"""Readings and tolerances that no gauge R&R study can be made of."""

from __future__ import annotations

import json
from itertools import product
from pathlib import Path

import pytest
from typer.testing import CliRunner

from sweeprig.cli.main import app
from sweeprig.errors import AnalysisError, CsvError, InputError

runner = CliRunner()


def gauge(tmp_path: Path, values: dict[tuple[str, str, int], float], *more: str) -> str:
    file = tmp_path / "readings.csv"
    rows = [f"{part},{operator},{v}" for (part, operator, _), v in values.items()]
    file.write_text("\n".join(["part,operator,value_v", *rows]), encoding="utf-8")
    return runner.invoke(app, ["gauge", str(file), *more], catch_exceptions=False).stdout


def filled(value: float, step: float = 0.0, trial: float = 0.0) -> dict[tuple[str, str, int], float]:
    return {
        (part, operator, k): value + step * n + trial * k
        for (n, part), operator, k in product(enumerate("abcde"), "xy", range(2))
    }


@pytest.mark.parametrize("value", [1e308, -1e200, 1.1e6])
def test_volts_beyond_any_reading_name_their_line(tmp_path: Path, value: float) -> None:
    values = filled(1.0, 0.1, 0.01)
    values["c", "x", 0] = value
    with pytest.raises(CsvError, match="line 10") as raised:
        gauge(tmp_path, values)
    assert "1e+06" in raised.value.limit


@pytest.mark.parametrize("value", [0.1, 2.5, 0.3])
def test_readings_without_any_spread_judge_no_rig(tmp_path: Path, value: float) -> None:
    with pytest.raises(AnalysisError, match="do not differ"):
        gauge(tmp_path, filled(value))


def test_repeats_without_spread_are_good_with_no_count_of_classes(tmp_path: Path) -> None:
    found = json.loads(gauge(tmp_path, filled(0.5, 0.25), "--json"))
    assert found["judged"] == "good"
    assert found["by_anova"]["categories"] is None
    assert found["p_interaction"] == 1.0


@pytest.mark.parametrize("width", ["inf", "nan", "1e-320", "-0.1", "0", "1e9"])
def test_a_tolerance_that_is_none_is_refused(tmp_path: Path, width: str) -> None:
    with pytest.raises(InputError, match="tolerance is not valid") as raised:
        gauge(tmp_path, filled(1.0, 0.1, 0.01), f"--tolerance={width}")
    assert raised.value.limit == "0.000001 to 1000000 V"


@pytest.mark.parametrize(
    "header", ["part,operator,value_v,value_v", "part,part,operator,value_v", "part,operator"]
)
def test_a_column_given_twice_or_never_is_refused(tmp_path: Path, header: str) -> None:
    file = tmp_path / "readings.csv"
    file.write_text(f"{header}\na,x,1.0,2.0\n", encoding="utf-8")
    with pytest.raises(CsvError, match="column named") as raised:
        runner.invoke(app, ["gauge", str(file)], catch_exceptions=False)
    assert header in raised.value.seen


def test_a_rig_that_tells_sensors_apart_may_be_too_coarse_for_a_tolerance(tmp_path: Path) -> None:
    values = filled(1.0, 0.5, 0.02)
    assert "For seeing a difference between these sensors the rig is good." in gauge(tmp_path, values)
    assert "tolerance" not in gauge(tmp_path, values)
    text = gauge(tmp_path, values, "--tolerance", "0.1")
    assert "For judging one against 0.1 V of tolerance it is not good enough." in text
    found = json.loads(gauge(tmp_path, values, "--tolerance", "0.1", "--json"))
    assert (found["judged"], found["judged_against_tolerance"]) == ("good", "not good enough")
