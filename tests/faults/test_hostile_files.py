"""Typed text, boards and files that nobody meant well: what is stored can be stored, and one bad file stops nothing."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from support.fake_rig import FakeRig, record
from support.whole_errors import says_all
from sweepboard import wire
from sweeprig.capture.file import SUFFIX, read_capture, write_capture
from sweeprig.capture.journal import JournalHead
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.capture.sweep import recover, run_sweep
from sweeprig.cli.main import _clean
from sweeprig.cli.session import report_recovered
from sweeprig.errors import (
    CaptureFileError,
    LinkError,
)
from sweeprig.link.client import RigClient
from sweeprig.twin.capture import capture_of

BAD_TEXT = "A\udcff\ud800\0" + "x" * 5000


@pytest.fixture(scope="module")
def capture() -> Capture:
    return capture_of("good", seconds=1.0)


# --- typed text and what a board says


def test_typed_text_no_file_can_hold_is_captured(tmp_path: Path) -> None:
    words: dict[str, Any] = dict.fromkeys(
        ("operator", "job", "sensor_label", "part", "serial", "notes"), BAD_TEXT
    )
    rig = FakeRig(board="x\ud800")
    setup = SweepSetup(seconds=0.05, prepared=(BAD_TEXT,), **words)
    taken = run_sweep(RigClient(rig, clock=rig.clock), setup, folder=tmp_path, clock=rig.clock)
    write_capture(tmp_path / f"a{SUFFIX}", taken)
    read = read_capture(tmp_path / f"a{SUFFIX}")
    assert read.setup.operator == "A\ufffd\ufffd\ufffd" + "x" * 1996
    assert read.setup.prepared == (read.setup.operator,)
    assert read.rig["board"] == "x\ufffd"
    assert not list(tmp_path.glob("*.journal"))


def test_command_line_keeps_file_names_cleans_the_rest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "\udcff.sweep").write_bytes(b"")
    assert _clean(["sweep", "\udcff", "\udcff.sweep"]) == ["sweep", "\ufffd", "\udcff.sweep"]


HEAD = JournalHead(
    "2026-01-01T00:00:00+00:00", {"build": "plain"}, SweepSetup(), wire.WINDOW, wire.CONVERSION_HZ
)
PACKETS = b"".join(
    wire.encode(wire.RECORDS, i, i * 16, b"".join(record(i * 16 + j) for j in range(16))) for i in range(4)
)
JOURNALS: list[dict[str, Any]] = [
    {"setup": []},
    {"setup": None},
    {"setup": {"seconds": math.inf}},
    {"setup": {"operator": 5}},
    {"window": []},
    {"window": 0},
    {"window": 10**30},
    {"n_windows": math.inf},
    {"n_windows": 10**30},
    {"n_windows": "x"},
    {"versions": 5},
    {"calibration": 5},
    {"rig": 5},
    {"conversion_hz": 0},
    {"conversion_hz": math.nan},
]


def journal(**changed: Any) -> bytes:
    plain = json.loads(HEAD.to_line()) | changed
    return json.dumps(plain).encode() + b"\n" + PACKETS


@pytest.mark.parametrize("changed", JOURNALS)
def test_a_bad_journal_is_set_aside_and_the_next_one_recovered(
    tmp_path: Path, changed: dict[str, Any]
) -> None:
    (tmp_path / "a.journal").write_bytes(journal(**changed))
    (tmp_path / "b.journal").write_bytes(journal())
    heard: list[tuple[Path, str]] = []
    assert recover(tmp_path, on_unusable=lambda *said: heard.append(said)) == [tmp_path / "b.sweep"]
    assert [path.name for path, _ in heard] == ["a.journal-unusable"]
    assert next(iter(changed)) in heard[0][1] or "seconds" in heard[0][1] or "operator" in heard[0][1]
    assert recover(tmp_path) == []


@pytest.mark.parametrize("line", [b"[" * 100000, b'{"a":' * 50000, b"9" * 100000])
def test_a_first_line_that_goes_too_deep_is_set_aside(tmp_path: Path, line: bytes) -> None:
    (tmp_path / "a.journal").write_bytes(line + b"\n")
    (tmp_path / "a.journal-unusable").write_bytes(b"an earlier one")
    assert recover(tmp_path) == []
    assert (tmp_path / "a.journal-unusable").read_bytes() == b"an earlier one"
    assert (tmp_path / "a-2.journal-unusable").exists()


def test_a_sweep_tells_of_a_journal_that_was_set_aside(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "a.journal").write_bytes(b"[" * 100000)
    report_recovered(tmp_path)
    assert "a.journal-unusable" in capsys.readouterr().err
    report_recovered(tmp_path)
    assert capsys.readouterr().err == ""


def test_journal_with_useless_text_keeps_its_records(tmp_path: Path) -> None:
    rig = {"board": "\ud800", "free": math.nan}
    setup = {**json.loads(HEAD.to_line())["setup"], "operator": "\udcff"}
    (tmp_path / "a.journal").write_bytes(journal(rig=rig, setup=setup))
    (path,) = recover(tmp_path)
    read = read_capture(path)
    assert len(read.records) == 64
    assert (read.rig["board"], read.rig["free"], read.setup.operator) == ("\ufffd", None, "\ufffd")


def test_codes_that_no_converter_gives_stay_in_the_journal(tmp_path: Path, capture: Capture) -> None:
    wrong = replace(capture, records=replace(capture.records, maxs=capture.records.maxs + np.uint16(60000)))
    (tmp_path / "a.journal").write_bytes(b"kept")
    with pytest.raises(CaptureFileError) as caught:
        write_capture(tmp_path / "a.sweep", replace(wrong, journal=str(tmp_path / "a.journal")))
    says_all(caught.value)
    assert (tmp_path / "a.journal").read_bytes() == b"kept"


NUMBERS = [0, -1, math.nan, math.inf, "x", None, True, 1e308, 10**400, [], 1e-300]
HELLOS = [
    *(("conversion_hz", v) for v in NUMBERS),
    *(("window", v) for v in [*NUMBERS, 1.5, 2**31]),
    *(("channels", v) for v in [0, None, 2, 4, True, "3"]),
    *(
        (key, v)
        for key in ("uid", "build", "chip", "firmware", "board")
        for v in (5, None, "", [], "x" * 201)
    ),
    *((key, v) for key in ("hookups", "capabilities") for v in (5, None, "powered", [5], {})),
    ("protocol", True),
]


@pytest.mark.parametrize(("key", "value"), HELLOS)
def test_a_hello_that_cannot_be_is_refused(key: str, value: Any) -> None:
    rig = FakeRig(**{key: value})
    with pytest.raises(LinkError) as caught:
        RigClient(rig, clock=rig.clock).hello()
    says_all(caught.value)
    if value != 10**400:
        assert caught.value.limit


def test_a_reply_whose_id_is_true_is_no_answer() -> None:
    rig = FakeRig()
    client = RigClient(rig, clock=rig.clock)  # its first command has the number 1
    rig._reply = lambda *_a, **_k: rig.send(wire.REPLY, b'{"id":true,"ok":true}')
    with pytest.raises(LinkError):
        client.command("buzzer", ms=1)


def test_a_board_that_never_stops_talking_takes_no_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    rig = FakeRig()
    rig.greets = False
    sizes: list[int] = []
    monkeypatch.setattr(
        "sweeprig.link.identification.accept", lambda heard, *_a, **_k: sizes.append(len(heard)) or {}
    )

    def talk(_timeout_s: float) -> bytes:
        rig.clock.now += 0.01
        return b"word\n" * 100

    rig.read = talk  # type: ignore[method-assign]
    client = RigClient(rig, clock=rig.clock)
    with pytest.raises(KeyError):
        client.hello()
    assert sizes[0] <= 510
    assert len(client.board_text) <= 1000
