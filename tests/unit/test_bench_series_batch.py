"""What a batch comes to, the verdict on the screen, the gauge command."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from support import outcomes
from support.records_world import numbered
from sweeprig.bench.batch.batch import batch_json, entries_of_records, entry_of, summarise
from sweeprig.bench.batch.series import Entry
from sweeprig.bench.batch.text import batch_lines
from sweeprig.cli.main import app
from sweeprig.cli.views.desk import end_text
from sweeprig.cli.views.verdict import fitting, letters, verdict_lines
from sweeprig.errors import AnalysisError, CsvError, InputError
from sweeprig.judge.model import Check, Margin, Quantity, Verdict
from sweeprig.judge.outcome import Outcome
from sweeprig.records.store import open_store

runner = CliRunner()


def entries(n: int = 20, *, odd_v: float = 0.0) -> list[Entry]:
    rng = np.random.default_rng(4)
    closed = 0.45 + rng.normal(0, 0.01, n)
    closed[-1] += odd_v
    return [
        Entry(f"S-{k}", 1, "pass", "", float(v), 2e-3, 4.4, 2e-3, closed_limits=(0.4, 0.5))
        for k, v in enumerate(closed)
    ]


def test_summary_of_a_batch() -> None:
    made = entries(odd_v=0.08)
    made.append(replace(made[0], attempt=2, verdict="fail", closed_v=None))
    s = summarise("B", made)
    assert (s.n_sensors, s.n_sweeps) == (20, 21)
    assert s.verdicts == {"pass": 19, "fail": 1, "undecided": 0}
    closed, opened = s.ends
    assert closed.missing == ("S-0",)
    assert closed.outliers == ("S-19",)
    assert closed.spread is not None
    assert closed.spread.n == 19
    values = np.array([e.closed_v for e in made[1:20]])
    assert closed.spread.sd == pytest.approx(values.std(ddof=1))
    assert closed.performance is not None
    assert closed.performance.pp == pytest.approx(0.1 / (6 * values.std(ddof=1)))
    assert opened.performance is not None
    assert opened.performance.ppk is None  # no limits of the open end
    text = "\n".join(batch_lines("B", made))
    assert "outliers (generalised ESD, 5 %): S-19" in text
    assert "19 sensors are few for this" in text
    assert "sweep 2" in text
    json.dumps(batch_json("B", made), allow_nan=False)


def test_a_fail_before_the_last_sweep_is_told_in_the_table() -> None:
    first, second, *others = entries(5)
    failed = replace(first, verdict="fail", codes=("worn-spot",))
    text = "\n".join(batch_lines("B", [failed, replace(first, attempt=2), second, *others]))
    assert "5 pass (1 of them not in an earlier sweep)" in text
    assert "sweep 2, sweep 1: FAIL worn-spot" in text
    assert "FAIL" not in "\n".join(batch_lines("B", [first, replace(first, attempt=2)]))


def test_figures_from_the_overall_spread_are_called_performance() -> None:
    """ISO 22514-2 (from memory): Pp and Ppk are of the overall spread; Cp and Cpk need a process in control."""
    values = np.array([e.closed_v for e in entries()])
    lines = batch_lines("B", entries())
    at = next(i for i, text in enumerate(lines) if "Ppk" in text)
    assert f"Pp {0.1 / (6 * values.std(ddof=1)):.2f}, Ppk " in lines[at]
    assert "ISO 22514-2" in lines[at + 1]
    assert lines[at + 1].count("also called Cp and Cpk") == 1
    assert "Cp" not in "".join(lines[: at + 1] + lines[at + 2 :])
    found = batch_json("B", entries())["summary"]["ends"][0]
    assert set(found["performance"]) == {"low", "high", "pp", "ppk", "ppk_low"}
    assert "capability" not in found


def test_a_spread_below_the_uncertainty_is_said_to_be_hidden() -> None:
    made = [replace(e, closed_v=0.45 + 1e-4 * k, closed_u95=7e-3) for k, e in enumerate(entries(8))]
    assert "exceeds the spread" in "\n".join(batch_lines("B", made))


def test_batches_of_none_and_of_one() -> None:
    assert "nothing swept" in "\n".join(batch_lines("B", []))
    assert "closed: one sensor, " in "\n".join(batch_lines("B", entries(1)))


def at_five() -> Outcome:
    """A ratiometric sensor on 4.728 V: 0.4265 V measured are 0.4510 V at 5 V."""
    one = outcomes.outcome()
    known = one.judgement.quantities
    measured = {"closed_v": replace(known["closed_v"], value=0.4265, u95=1.7e-3)}
    measured["closed_ratio"] = Quantity("closed_ratio", "", 0.0902, 4e-4)
    check = Check("closed", 0.4510, 1.9e-3, "V", 0.4, 0.5, Verdict.PASS)
    margin = Margin("closed", "lower", 0.4510, 1.9e-3, 0.25, Verdict.PASS, measured_v=0.4265)
    judged = replace(one.judgement, checks=(check,), margins=(margin,), quantities={**known, **measured})
    return replace(one, judgement=judged)


def test_an_entry_holds_measured_and_judged_volts_apart() -> None:
    e = entry_of(at_five(), serial="S", attempt=1, ended="strokes", capture_file="x")
    assert (e.closed_v, e.closed_u95, e.closed_limits) == (0.4265, 1.7e-3, (0.4, 0.5))
    assert e.judged("closed") == (0.4510, 1.9e-3)
    assert e.nominal_v == 5.0
    assert (e.open_v, e.open_limits) == (outcomes.OPEN_V, (None, None))


def test_series_table_and_records_show_the_same_volts(tmp_path: Path) -> None:
    one = at_five()
    swept = entry_of(one, serial="S", attempt=1, ended="strokes", capture_file="x")
    with open_store(tmp_path) as store:
        store.add(one, Path("x"), batch="B")
        (record,) = store.find(batch="B", full=True)
    assert record.closed_v == swept.closed_v
    (again,) = entries_of_records([record])
    assert (again.judged("closed"), again.nominal_v) == (swept.judged("closed"), pytest.approx(5.0, abs=1e-3))
    for made in (swept, again):
        text = "\n".join(batch_lines("B", [made, replace(made, serial="T")]))
        assert "closed [V] at 5 V supply" in text
        assert "0.4265 ± 0.0017" in text
        assert "0.4510 ± 0.0019" in text
        assert "closed at 5 V supply: mean 0.4510 V" in text


def test_the_verdict_of_a_series_names_both_volts() -> None:
    e = entry_of(at_five(), serial="S", attempt=1, ended="strokes", capture_file="x")
    assert end_text(e, "closed") == "closed 0.4265 V (0.4510 V at 5 V supply)"
    assert end_text(replace(e, nominal_v=None), "closed") == "closed 0.4265 V"
    assert end_text(replace(e, open_v=None), "open") == "open -"


def test_records_of_a_batch_as_entries(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        for n in range(3):
            store.add(numbered(n, serial=f"S-{n // 2}"), Path("x"), batch="B")
        found = entries_of_records(store.find(batch="B")[::-1])
    assert [(e.serial, e.attempt) for e in found] == [("S-0", 1), ("S-0", 2), ("S-1", 1)]


@pytest.mark.parametrize("size", [(80, 24), (40, 12), (200, 60), (20, 6)])
@pytest.mark.parametrize("word", ["pass", "fail", "undecided"])
def test_a_verdict_fills_the_screen_and_fits(word: str, size: tuple[int, int]) -> None:
    width, height = size
    lines = verdict_lines(word, "a reason " * 20, ["  S-1   closed 0.4500 V   open 4.2500 V"], width, height)
    assert len(lines) <= height
    assert max(len(line) for line in lines) <= width
    assert any("█" in line or word.upper() in line for line in lines)
    assert " ".join(" ".join(lines).split()).endswith("S-1 closed 0.4500 V open 4.2500 V")


def test_letters_are_as_large_as_fits() -> None:
    assert len(letters("pass", 4)) == 10
    assert fitting("undecided", 20, 5) == ["UNDECIDED"]
    assert len(fitting("pass", 200, 40)) == 15


def test_the_three_verdicts_differ_without_colour() -> None:
    seen = {
        w: set("".join(verdict_lines(w, "r", [], 80, 24))) & set("▓░") for w in ("pass", "fail", "undecided")
    }
    assert seen == {"pass": set(), "fail": {"▓"}, "undecided": {"░"}}
    assert "\x1b[97;41m" in "".join(verdict_lines("fail", "r", [], 80, 24, colour=True))


def study_csv(path: Path, *, drop: int = 0) -> Path:
    rng = np.random.default_rng(2)
    rows = [
        f"P{p},{o},{0.45 + 0.01 * p + 0.002 * k + rng.normal(0, 0.001):.5f}"
        for p in range(5)
        for k, o in enumerate("XY")
        for _ in range(3)
    ]
    path.write_text("part,operator,value_v\n" + "\n".join(rows[: len(rows) - drop]) + "\n")
    return path


def test_gauge_of_a_csv(tmp_path: Path) -> None:
    file = study_csv(tmp_path / "g.csv")
    data = json.loads(runner.invoke(app, ["gauge", str(file), "--tolerance", "0.1", "--json"]).stdout)
    assert (data["parts"], data["operators"], data["trials"]) == (5, 2, 3)
    assert data["by_anova"]["repeatability"] == pytest.approx(1e-3, rel=0.4)
    assert data["by_anova"]["percent_of_tolerance"] == pytest.approx(6000 * data["by_anova"]["gauge"])
    text = runner.invoke(app, ["gauge", str(file)]).stdout
    assert "Gauge R&R study: 5 sensors, 2 operators, 3 sweeps each" in text


def test_gauge_of_a_batch_of_records(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    with open_store(tmp_path) as store:
        for n in range(12):
            one = numbered(
                n, closed_v=0.45 + 0.01 * (n // 4) + rng.normal(0, 1e-3), serial=f"S-{n // 4}", operator="X"
            )
            store.add(one, Path("x"), batch="study")
    out = runner.invoke(app, ["gauge", "--batch", "study", "--records", str(tmp_path)])
    assert "3 sensors, 1 operators, 4 sweeps each" in out.stdout
    assert "One operator: the variation between operators is not studied." in out.stdout


def test_gauge_names_what_is_wrong(tmp_path: Path) -> None:
    def call(file: Path) -> None:
        runner.invoke(app, ["gauge", str(file)], catch_exceptions=False)

    with pytest.raises(AnalysisError, match="is incomplete") as raised:
        call(study_csv(tmp_path / "a.csv", drop=1))
    assert raised.value.seen == "part P4, operator Y: 2 sweeps"
    bad = tmp_path / "b.csv"
    bad.write_text("part,operator,value_v\nP1,X,0.4\nP1,X,nan\n")
    with pytest.raises(CsvError, match="line 3"):
        call(bad)
    bad.write_text("part,value_v\nP1,0.4\n")
    with pytest.raises(CsvError, match="no column named 'operator'"):
        call(bad)
    with pytest.raises(CsvError, match="cannot be read"):
        call(tmp_path / "none.csv")
    with pytest.raises(InputError, match="one source"):
        runner.invoke(app, ["gauge"], catch_exceptions=False)


def test_gauge_of_nothing_says_what_to_do(tmp_path: Path) -> None:
    head = tmp_path / "head.csv"
    head.write_text("part,operator,value_v\n")
    found = runner.invoke(app, ["gauge", str(head)]).exception
    assert isinstance(found, InputError)
    assert "head.csv" in found.seen
    assert "write a line for each sweep" in found.next_step
    with open_store(tmp_path) as store:
        store.add(numbered(1, serial="S-1"), Path("x"), batch="B")
    place = ["--records", str(tmp_path), "--json"]
    unknown = runner.invoke(app, ["gauge", "--batch", "x", *place]).exception
    assert isinstance(unknown, InputError)
    assert unknown.seen == "batch x"
    assert "records list" in unknown.next_step
    ends = runner.invoke(app, ["gauge", "--batch", "B", "--end", "middle", *place]).exception
    assert isinstance(ends, InputError)
    assert ends.limit == "closed or open"


def test_a_batch_is_shown_again_from_the_records(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        for n in range(3):
            store.add(numbered(n, serial=f"S-{n}"), Path("x"), batch="B")
    out = runner.invoke(app, ["records", "batch", "B", "--records", str(tmp_path)]).stdout
    assert out.startswith("Batch B: 3 sensors, 3 sweeps")
    assert "closed: mean" in out
    data = json.loads(
        runner.invoke(app, ["records", "batch", "B", "--records", str(tmp_path), "--json"]).stdout
    )
    assert [e["serial"] for e in data["entries"]] == ["S-0", "S-1", "S-2"]
    missing = runner.invoke(app, ["records", "batch", "x", "--records", str(tmp_path)]).exception
    assert isinstance(missing, InputError)
    assert missing.seen == "x"
