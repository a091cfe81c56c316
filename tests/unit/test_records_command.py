"""`sweeprig records`: list, show, history, export, add."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from typer.testing import CliRunner

from support import outcomes
from support.records_world import numbered
from sweeprig.bench.shop.records import COLUMNS
from sweeprig.bench.shop.trends import trend
from sweeprig.capture.file import write_capture
from sweeprig.cli.main import app
from sweeprig.errors import ExportError, InputError
from sweeprig.records.errors import NoRecordError, RecordsMissingError
from sweeprig.records.store import open_store
from sweeprig.report.figures import capture_code
from sweeprig.twin.capture import capture_of

runner = CliRunner()


@pytest.fixture
def place(tmp_path: Path) -> str:
    place = str(tmp_path / "r.sqlite")
    good, worn = outcomes.outcome(), outcomes.outcome(worn=True)
    with open_store(place) as store:
        for n in range(4):
            base = worn if n == 2 else good
            one = numbered(n, base, closed_v=0.45 + n * 1e-3, serial="S-1", notes='said "hesitates", twice')
            store.add(one, Path(f"{n}.sweep"), batch="night shift" if n == 3 else "")
    return place


def call(*args: str) -> str:
    result = runner.invoke(app, ["records", *args], catch_exceptions=False)
    assert result.exit_code == 0
    return result.stdout


def test_list_newest_first(place: str) -> None:
    lines = call("list", "--records", place).splitlines()
    assert len(lines) == 5
    assert lines[1].split()[:3] == ["4", "2031-03-04T10:03:00", "pass"]
    assert "0.4530 ± 0.0018" in lines[1]
    assert lines[2].split()[2] == "fail"
    assert call("list", "--records", place, "--verdict", "undecided") == "No matching record.\n"
    assert [
        r["batch"] for r in json.loads(call("list", "--records", place, "--batch", "night shift", "--json"))
    ] == ["night shift"]


def test_a_capture_that_is_added_later_joins_its_batch(tmp_path: Path) -> None:
    """Added without it first, as an advice without the batch led to; one that has a batch stays in it."""
    capture, place = write_capture(tmp_path / "a.sweep", capture_of("good", seconds=3.0)).path, tmp_path / "r"
    for more, batch in (((), ""), (("--batch", "crate 12"), "crate 12"), (("--batch", "other"), "crate 12")):
        call("add", str(capture), "--records", str(place), *more)
        with open_store(place, create=False) as store:
            assert [r.batch for r in store.find()] == [batch]


def test_list_says_when_there_are_more(place: str) -> None:
    result = runner.invoke(app, ["records", "list", "--records", place, "--limit", "2"])
    assert len(result.stdout.splitlines()) == 3
    assert "more" in result.stderr
    result = runner.invoke(app, ["records", "list", "--records", place, "--limit", "4"])
    assert "more" not in result.stderr


def test_show_says_verdict_and_next_step(place: str) -> None:
    text = call("show", "3", "--records", place)
    assert text.startswith("FAIL: Worn spot on track A")
    assert "next: replace the sensor" in text
    data = json.loads(call("show", "3", "--records", place, "--json"))
    assert data["findings"][0]["code"] == "worn-spot"
    assert data["quantities"]["closed_v"]["u95"] == 1.8e-3


def test_a_record_is_found_by_the_report_number_of_its_sheet(place: str) -> None:
    sha256 = json.loads(call("show", "3", "--records", place, "--json"))["sha256"]
    number = capture_code(sha256)
    assert "-" in number
    assert call("show", number, "--records", place) == call("show", "3", "--records", place)


def test_history_gives_the_trend(place: str) -> None:
    text = call("history", "S-1", "--records", place)
    assert "closed: 4 times, mean 0.4515 V" in text
    assert "last minus first +3.0 ± 2.5 mV: a change (+1.18 times the ±)" in text
    data = json.loads(call("history", "S-1", "--records", place, "--json"))
    assert [r["id"] for r in data["records"]] == [1, 2, 3, 4]
    assert data["trend"]["closed"]["change_v"] == pytest.approx(3e-3)
    assert data["trend"]["open"]["change_v"] == 0


def test_trend_against_numpy() -> None:
    rng = np.random.default_rng(3)
    at, values = np.sort(rng.uniform(0, 30, 12)) * 86400, rng.normal(0.45, 0.002, 12)
    seen = [SimpleNamespace(at_s=t, closed_v=v, closed_u95=1e-3) for t, v in zip(at, values, strict=True)]
    found = trend(
        [*seen[:5], SimpleNamespace(at_s=at[5], closed_v=None, closed_u95=None), *seen[5:]], "closed"
    )  # type: ignore[list-item]
    assert found.n == 12
    assert found.sd_v == pytest.approx(np.std(values, ddof=1))
    assert found.slope_v_per_day == pytest.approx(np.polyfit(at / 86400, values, 1)[0])
    assert found.e_n == pytest.approx((values[-1] - values[0]) / np.hypot(1e-3, 1e-3))


def test_trend_of_too_little() -> None:
    one = SimpleNamespace(at_s=0.0, closed_v=0.4, closed_u95=None)
    assert trend([one], "closed").change_v is None  # type: ignore[list-item]
    both = trend([one, one], "closed")  # type: ignore[list-item]
    assert (both.change_v, both.e_n, both.slope_v_per_day) == (0.0, None, None)


def test_export_csv_is_read_back_by_the_standard_library(place: str, tmp_path: Path) -> None:
    out = tmp_path / "all.csv"
    call("export", "--records", place, "--out", str(out))
    raw = out.read_bytes()
    assert raw.count(b"\r\n") == 5
    assert raw.replace(b"\r\n", b"").count(b"\n") == 0
    table = list(csv.DictReader(io.StringIO(raw.decode(), newline="")))
    assert list(table[0]) == [name for name, _ in COLUMNS]
    assert [float(r["closed_V"]) for r in table] == [0.45, 0.451, 0.452, 0.453]
    assert table[2]["findings"] == "worn-spot"
    assert table[0]["sensor_label"] == "Shelf 3, box 7"
    assert call("export", "--records", place).splitlines()[0].startswith("record,capture_sha256,captured_at")


def test_export_json(place: str, tmp_path: Path) -> None:
    out = tmp_path / "all.json"
    call("export", "--records", place, "--out", str(out))
    data = json.loads(out.read_text())
    assert [r["id"] for r in data] == [1, 2, 3, 4]
    assert json.loads(call("export", "--records", place, "--as", "json")) == data
    with pytest.raises(ExportError, match="cannot be written"):
        call("export", "--records", place, "--out", str(tmp_path / "no" / "x.csv"))


def test_add_takes_a_csv_in_once(tmp_path: Path) -> None:
    t = np.arange(4000) * 1e-3
    lever = np.clip(np.abs((t % 2.0) - 1.0) * 1.6 - 0.3, 0, 1)
    rows = "\n".join(f"{a:.4f},{0.45 + 4.0 * (1 - b):.5f},5.0" for a, b in zip(t, lever, strict=True))
    file = tmp_path / "bench.csv"
    file.write_text("time_s,signal_v,supply_v\n" + rows + "\n")
    place = str(tmp_path / "r")
    assert call("add", str(file), "--records", place).split() == ["1", str(file)]
    assert call("add", str(file), "--records", place).split() == ["1", str(file)]
    assert [r["capture_file"] for r in json.loads(call("list", "--records", place, "--json"))] == [str(file)]


def test_no_records_yet(tmp_path: Path) -> None:
    with pytest.raises(RecordsMissingError, match="no records") as raised:
        runner.invoke(app, ["records", "list"], catch_exceptions=False)
    assert str(tmp_path / "home" / "records" / "records.sqlite") in raised.value.what
    assert not (tmp_path / "home" / "records").exists()


def test_compare_of_a_sensor_takes_its_last_two(place: str) -> None:
    data = json.loads(runner.invoke(app, ["compare", "--sensor", "S-1", "--records", place, "--json"]).stdout)
    assert (data["first"]["name"], data["second"]["name"]) == ("record 3", "record 4")
    assert [f["code"] for f in data["findings_gone"]] == ["worn-spot"]
    with pytest.raises(NoRecordError):
        runner.invoke(app, ["compare", "--sensor", "S-2", "--records", place], catch_exceptions=False)
    with pytest.raises(InputError, match="Two captures or one sensor"):
        runner.invoke(app, ["compare", "1", "--records", place], catch_exceptions=False)


@pytest.mark.parametrize("change", ["verdict = 'pass'", "closed_v = 0.5", "findings = '[]'"])
@pytest.mark.parametrize(
    "args", [["list"], ["list", "--json"], ["export"], ["export", "--as", "json"], ["history", "S-1"]]
)
def test_a_row_changed_by_hand_is_named_and_left_out(place: str, change: str, args: list[str]) -> None:
    with closing(sqlite3.connect(place)) as base, base:
        base.execute(f"update verdicts set {change} where capture_id = 3")
    done = runner.invoke(app, ["records", *args, "--records", place], catch_exceptions=False)
    assert "Record 3 is damaged and is left out: the verdict does not match its digest" in " ".join(
        done.stderr.split()
    )
    assert "2.sweep" not in done.stdout
