"""Tables, profiles, configurations and typed words that nobody meant well, up to the sheet."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from sweeprig.bench.review.review import review_capture
from sweeprig.bench.shop.config import load_config
from sweeprig.capture.csv_file import read_csv
from sweeprig.capture.model import Capture
from sweeprig.errors import ConfigError, CsvError, ProfileError
from sweeprig.judge.profile import load_profile, profile_text
from sweeprig.report.sheet import sheet_html
from sweeprig.twin.capture import capture_of


@pytest.fixture(scope="module")
def capture() -> Capture:
    return capture_of("good", seconds=1.0)


def named(error: ProfileError) -> None:
    """An error of a profile names the line, and what was seen or what fits."""
    assert re.search(r"line \d+:", error.what)
    assert error.limit or error.seen


# --- text files

ROWS = "time_s,signal_v\n"


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"\xef\xbb\xbf",
        b"sep=;\n",
        ROWS.encode() + b"0,\xed\xa0\x80\n1,2\n",
        (ROWS + "0,1\n1,2\n").encode("utf-32"),
        (ROWS + "0,1\n1,2\n").encode("utf-16")[:-1],
        (ROWS + "0,1\0\n1,2\n").encode(),
        (ROWS + "0,\n1,2\n").encode(),
        (ROWS + '0,"1\n1,2\n').encode(),
        (ROWS + "0," + "1" * 140000 + "\n1,2\n").encode(),
        (ROWS + "0," + "9" * 4000 + "\n1,2\n").encode(),
        (ROWS + "0,1e999\n1,2\n").encode(),
        (ROWS + "0,nan\n1,2\n").encode(),
        (ROWS + "0,inf\n1,2\n").encode(),
        (ROWS + "=1+1,2\n1,2\n").encode(),
        (ROWS + "0,0x10\n1,2\n").encode(),
        (ROWS + "0,1_0\n1,2\n").encode(),
        (ROWS + "0,1\u2028 1,2\n").encode(),
        (ROWS + "x,y\n" * 2000).encode(),
        b"time_s,signal_v,signal_v\n0,1,1\n1,2,2\n",
        ("time_s,signal_v," + ",".join(f"c{i}" for i in range(5000)) + "\n0,1\n").encode(),
    ],
)
def test_a_hostile_csv_is_told_of(tmp_path: Path, text: bytes) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(text)
    with pytest.raises(CsvError) as caught:
        read_csv(path)
    assert caught.value.next_step
    assert len(str(caught.value)) < 2000


VALUES = ["1e308", "-1e308", "nan", "inf", '"x"', "true", "[]", "{}", "2020-01-01", '"<script>"', "-1"]


def test_no_wrong_value_in_a_profile_gives_more_than_its_error(tmp_path: Path) -> None:
    text, _ = profile_text("adjustable-potentiometer")
    lines, path, refused = text.splitlines(), tmp_path / "p.toml", 0
    for i, line in enumerate(lines):
        entry = re.match(r"(\w+ = )", line)
        for value in VALUES if entry else []:
            path.write_text("\n".join([*lines[:i], entry[1] + value if entry else "", *lines[i + 1 :]]))
            try:
                load_profile(path)
            except ProfileError as error:
                refused += 1
                named(error)
    assert refused > 300


@pytest.mark.parametrize(
    "text",
    [b"port=1", b"bell=1", b"zzz=1", b'""=1', b"[port]", b"port.x=1", b"port=2020-01-01", b"\xff", b"=["],
)
def test_a_hostile_configuration_is_told_of(tmp_path: Path, text: bytes) -> None:
    path = tmp_path / "config.toml"
    path.write_bytes(text)
    with pytest.raises(ConfigError) as caught:
        load_config(path)
    assert caught.value.next_step


# --- the sheet

EVIL = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>\u202e\x00\x07"


def test_operator_and_board_text_stays_text_on_the_sheet(capture: Capture) -> None:
    words: dict[str, Any] = dict.fromkeys(
        ("operator", "job", "sensor_label", "part", "serial", "notes", "override"), EVIL
    )
    hostile = replace(
        capture,
        setup=replace(capture.setup, confirmed=(EVIL,), prepared=(EVIL,), **words),
        board_text=(EVIL,),
        coaching=(EVIL,),
        ended=EVIL,
        rig={**capture.rig, "board": EVIL, "uid": EVIL, "firmware": EVIL, "reset_cause": EVIL},
    )
    page = sheet_html(review_capture(hostile, made_at="2026-01-01T00:00:00+00:00"))
    assert "&lt;script&gt;" in page
    assert "<script" not in page
    assert "<img" not in page
    assert not {"\u202e", "\x00", "\x07"} & set(page)


def test_notes_of_any_length_leave_the_sheet_small(capture: Capture) -> None:
    page = sheet_html(review_capture(capture))
    for notes in ("w" * 100000, "a\n" * 50000):
        setup = replace(capture.setup, notes=notes, operator=notes, sensor_label=notes)
        long = sheet_html(review_capture(replace(capture, setup=setup)))
        assert len(long) < len(page) + 20000
