"""CSV of any source: what spreadsheets do to it is taken, what is wrong is named by its line."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from sweeprig.capture.csv_file import read_csv
from sweeprig.capture.model import Trace
from sweeprig.errors import CsvError


def read(tmp_path: Path, text: str | bytes) -> Trace:
    path = tmp_path / "trace.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_csv(path)


def test_time_and_signal_are_enough(tmp_path: Path) -> None:
    trace = read(tmp_path, "time_s,signal_v\n0,0.5\n0.001,0.75\n0.002,1e0\n")
    assert trace.t_s.tolist() == [0.0, 0.001, 0.002]
    assert trace.signal_a.mean_v.tolist() == [0.5, 0.75, 1.0]
    assert trace.signal_a.min_v.tolist() == trace.signal_a.max_v.tolist() == [0.5, 0.75, 1.0]
    assert (trace.signal_b, trace.supply, trace.angle_deg) == (None, None, None)
    assert (trace.source, trace.name, trace.n_per_window, trace.lsb_v) == ("csv", "trace.csv", 1, 0.25)
    assert trace.window_s == pytest.approx(0.001)
    assert math.isinf(trace.full_scale_v)
    assert trace.n_lost == 0


def test_other_columns_in_any_order_and_unknown_ones_aside(tmp_path: Path) -> None:
    text = (
        'note,Angle_deg, supply_v ,signal_b_v,SIGNAL_V,time_s\n"a, b",10,5.0,2.5,1.25,0\nx,11,5.1,2.4,1.3,1\n'
    )
    trace = read(tmp_path, text)
    assert trace.supply is not None
    assert trace.signal_b is not None
    assert trace.angle_deg is not None
    assert trace.supply.mean_v.tolist() == [5.0, 5.1]
    assert trace.signal_b.mean_v.tolist() == [2.5, 2.4]
    assert trace.signal_a.mean_v.tolist() == [1.25, 1.3]
    assert trace.angle_deg.tolist() == [10.0, 11.0]


PLAIN = "time_s,signal_v\n0,0.5\n0.1,-0.75\n0.2,1.25\n"


@pytest.mark.parametrize(
    "data",
    [
        PLAIN.encode("utf-8-sig"),
        PLAIN.replace("\n", "\r\n").encode(),
        PLAIN.replace("\n", "\r").encode(),
        PLAIN.rstrip("\n").encode(),
        PLAIN.encode("utf-16"),
        ("\n\n" + PLAIN + "\n,\n\n").encode(),
        PLAIN.replace(",", ";").encode(),
        PLAIN.replace(",", ";").replace(".", ",").encode(),
        ("sep=;\r\n" + PLAIN.replace(",", ";").replace(".", ",")).encode(),
        PLAIN.replace(",", "\t").replace(".", ",").encode(),
        PLAIN.replace(",", '","').replace("\n", '"\n"').join(('"', "")).rstrip('"').encode(),
        PLAIN.replace(",", " , ").encode(),
    ],
    ids=["bom", "crlf", "cr", "no-last-end", "utf16", "blank", "semicolon", "comma", "sep", "tab", "quoted", "blanks"],
)  # fmt: skip
def test_what_spreadsheets_write_is_taken(tmp_path: Path, data: bytes) -> None:
    trace = read(tmp_path, data)
    assert trace.t_s.tolist() == [0.0, 0.1, 0.2]
    assert trace.signal_a.mean_v.tolist() == [0.5, -0.75, 1.25]


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("time_s,signal_v\n0,1\n1,oops\n2,3\n", r"1 bad row\..*line 3: signal_v is 'oops'"),
        ("time_s,signal_v\n0,1\n1,\n2,3\n", r"line 3: signal_v is empty"),
        ("time_s,signal_v\n0,1\n1\n", r"line 3: 1 cells, the header has 2"),
        ("time_s,signal_v\n0,1\n1,2,3\n", r"line 3: 3 cells"),
        ("time_s,signal_v\n0,1\n1,nan\n", r"line 3: signal_v is 'nan'"),
        ("time_s,signal_v\n0,1\n1,inf\n", r"line 3: signal_v is 'inf'"),
        ("time_s,signal_v\n0,1\n1,1e999\n", r"line 3: signal_v is '1e999'"),
        ("time_s,signal_v\n0,1\n1,1_0\n", r"line 3: signal_v is '1_0'"),
        ("time_s,signal_v\n0,1\n1,2\n1,3\n", r"line 4: time_s goes from 1 to 1"),
        ("time_s,signal_v\n0,1\n\n\n2,2\n1,3\n", r"line 6: time_s goes from 2 to 1"),
        ("sep=,\ntime_s,signal_v\n0,1\nx,2\n", r"line 4: time_s is 'x'"),
        ("time_s,signal_v\n0,1\n" + "x,1\n" * 9, r"9 bad rows.*line 3.*line 7.*and 4 more"),
        ('time_s,signal_v\n0,1\n1,"2\n', r"line 3"),
        ("time_s,signal_v\n0,0,5\n0,1,0,75\n", r"line 2: 3 cells"),
    ],
)
def test_bad_rows_are_named_by_line(tmp_path: Path, text: str, match: str) -> None:
    with pytest.raises(CsvError, match=match):
        read(tmp_path, text)


@pytest.mark.parametrize(
    ("data", "match"),
    [
        (b"", "is empty"),
        (b"\xef\xbb\xbf\r\n\r\n", "is empty"),
        (b"time_s,signal_v\n", "too few rows.*0 rows"),
        (b"time_s,signal_v\n0,1\n", "too few rows.*1 rows"),
        (b"time,volts\n0,1\n", "time_s, signal_v is missing.*time,volts"),
        (b"0,1\n1,2\n", "time_s, signal_v is missing"),
        (b"time_s,signal_v,signal_v\n0,1,1\n", "signal_v is given twice"),
        (b"PK\x03\x04\xff\xfe\x00\x99", "is not a text file.*0xff"),
        (b"time_s,signal_v\n0,\0\n", "zero bytes"),
        (b"\xff\xfeX", "is not a text file"),
    ],
)
def test_what_is_no_trace_says_so(tmp_path: Path, data: bytes, match: str) -> None:
    with pytest.raises(CsvError, match=match.replace(".*", "(?s:.*)")):
        read(tmp_path, data)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(CsvError, match=r"none\.csv cannot be read"):
        read_csv(tmp_path / "none.csv")


def test_holes_in_even_sampling_are_gaps(tmp_path: Path) -> None:
    times = [i for i in range(100) if i not in (40, 41, 42, 70)]
    trace = read(tmp_path, "time_s,signal_v\n" + "".join(f"{i / 1000},1\n" for i in times))
    assert trace.n_lost == 4
    assert np.flatnonzero(trace.gap_before).tolist() == [times.index(43), times.index(71)]


def test_uneven_sampling_has_no_known_gaps(tmp_path: Path) -> None:
    times = np.cumsum(np.random.default_rng(1).exponential(1.0, 200) + 1e-3)
    trace = read(tmp_path, "time_s,signal_v\n" + "".join(f"{t:.6f},1\n" for t in times))
    assert trace.n_lost == 0
    assert not trace.gap_before.any()


def test_lowest_and_highest_of_each_row_are_taken(tmp_path: Path) -> None:
    trace = read(
        tmp_path,
        "time_s,signal_min_v,signal_v,signal_max_v\n0,0.4,0.5,0.6\n0.001,0.0,0.74,0.76\n0.002,0.9,1,1.1\n",
    )
    assert trace.signal_a.min_v.tolist() == [0.4, 0.0, 0.9]
    assert trace.signal_a.max_v.tolist() == [0.6, 0.76, 1.1]
    assert trace.n_per_window > 1


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("time_s,signal_v,signal_min_v\n0,1,1\n1,1,1\n", "signal_max_v is missing"),
        (
            "time_s,signal_v,signal_min_v,signal_max_v\n0,1,1,1\n1,2,2.1,2.2\n",
            "line 3: signal_v is not between signal_min_v and signal_max_v",
        ),
    ],
)
def test_half_or_crossed_extremes_are_named(tmp_path: Path, text: str, match: str) -> None:
    with pytest.raises(CsvError, match=match):
        read(tmp_path, text)


def test_a_clock_that_counts_from_1970_begins_at_nought(tmp_path: Path) -> None:
    trace = read(tmp_path, "time_s,signal_v\n1700000000.25,0.5\n1700000000.26,0.75\n1700000000.27,1.0\n")
    assert trace.t_s == pytest.approx([0.0, 0.01, 0.02], abs=1e-6)


def test_millivolts_are_not_taken_for_volts(tmp_path: Path) -> None:
    with pytest.raises(CsvError, match="2 bad rows") as raised:
        read(tmp_path, "time_s,signal_v\n0,600\n0.001,4300\n")
    assert "are these millivolts?" in raised.value.seen


def test_a_supply_that_nobody_recorded_is_refused(tmp_path: Path) -> None:
    rows = "\n".join(f"{k / 100},{0.5 + k / 25},0.0" for k in range(100))
    with pytest.raises(CsvError, match="supply_v cannot be the supply"):
        read(tmp_path, f"time_s,signal_v,supply_v\n{rows}\n")


def test_a_supply_that_is_missing_with_its_signal_is_read(tmp_path: Path) -> None:
    rows = "\n".join(f"{k / 100},{0.01 * (k % 2)},0.0" for k in range(100))
    assert read(tmp_path, f"time_s,signal_v,supply_v\n{rows}\n").supply is not None
