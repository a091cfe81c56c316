"""What came of a simulated sensor is never taken for real: records, trends, batches and comparisons say so."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from typer.testing import CliRunner

from support import outcomes
from support.records_world import numbered
from sweeprig.bench.batch.batch import entry_of, summarise
from sweeprig.bench.batch.text import batch_lines
from sweeprig.cli.main import app
from sweeprig.judge.outcome import Outcome
from sweeprig.records.engine import make_engine, records_url
from sweeprig.records.migrate import migrate
from sweeprig.records.rows import Record
from sweeprig.records.store import open_store
from sweeprig.words import SIMULATED

DAY = 24 * 60  # minutes


def made(n: int, *, simulated: bool, closed_v: float = 0.45) -> Outcome:
    one = numbered(n, closed_v=closed_v, serial="S-1")
    assert one.capture is not None
    return replace(one, capture=replace(one.capture, rig={**one.capture.rig, "simulated": simulated}))


def store_of(tmp_path: Path, *simulated: bool) -> str:
    with open_store(tmp_path / "r.sqlite") as store:
        for n, one in enumerate(simulated):
            store.add(made(n * DAY, simulated=one, closed_v=0.45 + 1e-3 * n), Path(f"{n}.sweep"), batch="B")
    return str(tmp_path / "r.sqlite")


def numbered_record(*, simulated: bool) -> Record:
    with TemporaryDirectory() as folder, open_store(Path(folder) / "r.sqlite") as store:
        return store.get(store.add(made(1, simulated=simulated), Path("a.sweep")))


def call(*args: str) -> str:
    done = CliRunner().invoke(app, list(args), catch_exceptions=False)
    assert done.exit_code == 0
    return done.stdout


def test_lists_and_exports_mark_each_simulated_record(tmp_path: Path) -> None:
    place = store_of(tmp_path, True, False)
    real, _, simulated = call("records", "list", "--records", place).partition("\n  1  ")
    assert "SIMULATED" in simulated
    assert "SIMULATED" not in real
    assert "SIMULATED" in call("records", "show", "1", "--records", place)
    found = json.loads(call("records", "list", "--json", "--records", place))
    assert [r["simulated"] for r in found] == [False, True]


def test_a_trend_leaves_simulated_sweeps_out_and_says_so(tmp_path: Path) -> None:
    place = store_of(tmp_path, False, True, True, False)
    text = call("records", "history", "S-1", "--records", place)
    assert "2 SIMULATED sweeps left out." in text
    assert "closed: 2 times" in text
    alone = store_of(tmp_path / "other", True, True)
    text = call("records", "history", "S-1", "--records", alone)
    assert SIMULATED in text
    assert "closed: 2 times" in text


def test_a_comparison_with_a_simulated_capture_says_so(tmp_path: Path) -> None:
    place = store_of(tmp_path, False, True)
    assert "record 2: SIMULATED." in call("compare", "1", "2", "--records", place)
    both = store_of(tmp_path / "other", True, True)
    assert call("compare", "1", "2", "--records", both).startswith(SIMULATED)


def test_a_batch_counts_no_simulated_sensor_beside_real_ones() -> None:
    entries = [
        entry_of(made(n, simulated=n > 2), serial=f"S-{n}", attempt=1, ended="strokes", capture_file="")
        for n in range(5)
    ]
    assert summarise("B", entries).n_sensors == 3
    assert batch_lines("B", entries)[0] == "2 SIMULATED sweeps left out."
    assert batch_lines("B", entries[3:])[0] == SIMULATED
    assert batch_lines("B", entries[:3])[0].startswith("Batch B")


def test_a_batch_of_equal_sensors_has_no_ppk() -> None:
    entries = [
        entry_of(outcomes.outcome(), serial=f"S-{n}", attempt=1, ended="strokes", capture_file="")
        for n in range(9)
    ]
    text = "\n".join(batch_lines("B", entries))
    assert "Ppk" not in text
    assert "no spread is given" in text


@pytest.mark.parametrize(("uid", "simulated"), [("5100000000000007", 1), ("e66118604b2d8c21", 0)])
def test_records_of_before_are_known_by_their_rig(tmp_path: Path, uid: str, simulated: int) -> None:
    file = tmp_path / "old.sqlite"
    engine = make_engine(records_url(file), create=True)
    migrate(engine, str(file), head="0003")
    engine.dispose()
    with closing(sqlite3.connect(file)) as db:
        db.execute(
            "INSERT INTO captures (sha256, path, created, at, rig_uid, operator, hookup, ended)"
            " VALUES ('ab', 'a.sweep', '2031-03-04', 1.0, ?, '', 'powered', 'complete')",
            (uid,),
        )
        db.commit()
    with open_store(file):
        pass
    with closing(sqlite3.connect(file)) as db:
        assert db.execute("SELECT simulated, task, notes FROM captures").fetchall() == [
            (simulated, "sweep", "")
        ]


@pytest.mark.parametrize(("width", "shown"), [(60, ""), (80, "closed"), (120, "closed kind job rig")])
def test_a_list_shows_what_there_is_room_for(width: int, shown: str) -> None:
    from sweeprig.bench.shop.records import table_lines

    record = numbered_record(simulated=False)
    lines = table_lines([record], width)
    assert max(map(len, lines)) <= width
    assert set(shown.split()) <= set(lines[0].split())
    assert {"no.", "captured", "verdict", "sensor"} <= set(lines[0].split())


@pytest.mark.parametrize("width", [60, 80, 100, 120])
def test_a_list_of_several_kinds_keeps_the_kind(width: int) -> None:
    from sweeprig.bench.shop.records import table_lines

    one = numbered_record(simulated=False)
    lines = table_lines([one, replace(one, task="wiggle")], width)
    assert max(map(len, lines)) <= width
    assert "kind" in lines[0].split()
    assert "wiggle" in " ".join(lines)


@pytest.mark.parametrize(("width", "gone"), [(60, "closed [V], open [V]"), (140, "")])
def test_columns_without_room_are_named_below_a_list(width: int, gone: str) -> None:
    from sweeprig.bench.shop.records import table_lines

    text = " ".join(table_lines([numbered_record(simulated=False)], width))
    assert ("sweeprig records show NO" in text) == bool(gone)
    assert gone in text


def test_corrections_stand_below_the_fields_of_a_record() -> None:
    from sweeprig.bench.shop.records import show_lines

    record = replace(
        numbered_record(simulated=False),
        findings=({"code": "x", "cause": "y", "evidence": "z", "next_step": "w"},),
    )
    lines = show_lines(record, ["job: 77 -> 78"])
    at = lines.index("  corrected   job: 77 -> 78")
    assert lines[at + 1] == ""
    assert lines[at - 1].startswith("  file")


def test_the_sheet_of_a_batch_is_one_page(tmp_path: Path) -> None:
    place = store_of(tmp_path, False, False, True)
    out = tmp_path / "batch.html"
    call("records", "batch", "B", "--records", place, "--sheet", str(out))
    page = out.read_text("utf-8")
    assert "2031-03-04 to 2031-03-06" in page
    assert "1 SIMULATED sweep left out." in page
    assert page.count("<main") == 1
    assert "S-1" in page
    assert "sweeprig " not in page.partition("<body")[2]


def test_a_large_batch_stays_on_one_page_and_says_what_is_left_out() -> None:
    from sweeprig.report.batch_sheet import MOST_ROWS, BatchPage, batch_html

    rows = [(f"S-{n}", "pass", "<0.45>") for n in range(60)]
    page = batch_html(
        BatchPage("B", counts="60", taken="", heads=("serial", "verdict", "closed"), rows=rows, lines=())
    )
    assert page.count("<tr>") == MOST_ROWS + 1
    assert "20 more sensors are in the records." in page
    assert "&lt;0.45&gt;" in page
