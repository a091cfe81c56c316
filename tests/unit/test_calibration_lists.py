"""What is stored of calibrations, as lists and charts that keep their columns at every width."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from support.outcomes import make_calibration
from sweeprig.bench.calibration.text import WIDE, check_lines, list_lines
from sweeprig.cli.main import app
from sweeprig.errors import CalibrationError

ENTRIES = tuple(
    {"on": f"2031-03-0{day}T09:00:00+01:00", "state": "as found", "reference": "2.5000 V ± 0.0020 V",
     "error": f"{error:+.2f} mV", "score": f"{score:+.2f}", "verdict": verdict}
    for day, error, score, verdict in ((1, 0.4, 0.1, "pass"), (2, -104.5, -0.9, "pass"), (3, 300.0, 2.5, "fail"))
)  # fmt: skip


@pytest.mark.parametrize("width", [60, 80, 120])
def test_each_mark_stands_under_the_scale_of_its_chart(width: int) -> None:
    _, head, *rows = check_lines(replace(make_calibration(), verified=ENTRIES), width=width)
    scale = head.index("-1")
    assert head[scale + WIDE - 2 : scale + WIDE] == "+1"
    assert len(rows) == len(ENTRIES)
    middle = WIDE // 2
    assert rows[0][scale + middle] == "|"
    assert rows[0][scale + middle + 1] == "o"
    assert rows[1][scale + middle - round(0.9 * middle)] == "o"
    assert rows[2][scale + WIDE - 1] == ">"
    for row, entry in zip(rows, ENTRIES, strict=True):
        assert len(row) <= width
        assert row.endswith(entry["verdict"])
        assert entry["on"][:10] in row


@pytest.mark.parametrize("width", [60, 80, 120])
def test_the_list_of_calibrated_rigs_has_headings_and_words(width: int) -> None:
    due = "Not verified today. Before the first job: sweeprig calibrate verify VOLTS"
    rows = [{"rig": "e660583883724a32", "kind": "line+linearity", "age_days": 12.2, "due": due},
            {"rig": "e660583883724a33", "kind": "damaged", "age_days": None, "due": ""}]  # fmt: skip
    lines = list_lines(rows, width)
    assert [word in lines[0] for word in ("rig", "age", "next")] == [True] * 3
    assert max(map(len, lines)) <= width
    assert "line+linearity" not in "\n".join(lines)
    assert "nothing is due" in lines[-1]
    assert due in " ".join(" ".join(lines).split())


def test_a_file_of_points_is_looked_at_before_the_meter(tmp_path: Path) -> None:
    empty = tmp_path / "points.csv"
    empty.write_text("")
    with pytest.raises(CalibrationError, match="has no points"):
        CliRunner().invoke(app, ["calibrate", "--points-file", str(empty)], catch_exceptions=False)
