"""Capture files and journals that are cut, flipped or of wrong shapes: one of our own errors, and nothing lost."""

from __future__ import annotations

import hashlib
import io
import json
import random
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from support.fake_rig import HELLO, record
from support.whole_errors import says_all
from sweepboard import wire
from sweeprig.capture.file import pack, read_capture
from sweeprig.capture.journal import JournalHead
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.capture.sweep import recover
from sweeprig.errors import CaptureFileError
from sweeprig.twin.capture import capture_of


@pytest.fixture(scope="module")
def capture() -> Capture:
    return capture_of("good", seconds=1.0)


# --- capture files


def crafted(capture: Capture, arrays: dict[str, Any], **meta: Any) -> bytes:
    """A capture file with other arrays and other entries, all digests right."""
    with zipfile.ZipFile(io.BytesIO(pack(capture))) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    plain = json.loads(members.pop("capture.json")) | meta
    for name, array in arrays.items():
        out = io.BytesIO()
        np.lib.format.write_array(out, np.asarray(array), allow_pickle=True)
        members[f"{name}.npy"] = out.getvalue()
    plain["sha256"] = {name: hashlib.sha256(data).hexdigest() for name, data in members.items()}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in {"capture.json": json.dumps(plain).encode(), **members}.items():
            archive.writestr(name, data)
    return out.getvalue()


def test_a_capture_cut_anywhere_is_told_of(tmp_path: Path, capture: Capture) -> None:
    whole = pack(capture)
    path = tmp_path / "a.sweep"
    for i in range(200):
        path.write_bytes(whole[: len(whole) * i // 200])
        with pytest.raises(CaptureFileError) as caught:
            read_capture(path)
        says_all(caught.value)


def test_a_flipped_bit_is_told_of_or_changes_nothing(tmp_path: Path, capture: Capture) -> None:
    whole, path, draw = pack(capture), tmp_path / "a.sweep", random.Random(1)
    for _ in range(200):
        data = bytearray(whole)
        data[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
        path.write_bytes(data)
        try:
            read = read_capture(path)
        except CaptureFileError as error:
            says_all(error)
        else:
            assert pack(read) == whole


@pytest.mark.parametrize(
    ("arrays", "meta"),
    [
        ({"index": np.array(5)}, {}),
        ({"index": np.array([{}], object)}, {}),
        ({"index": np.array([3, 2, 1])}, {}),
        ({"sums": np.zeros((4, 2), np.uint32)}, {}),
        ({"sums": np.zeros((4, 3), np.float64)}, {}),
        ({"flags": np.zeros(1, np.uint16)}, {}),
        ({"snapshots": np.array([[1, 1, 1, 3, 0, 7]])}, {}),
        ({}, {"setup": []}),
        ({}, {"setup": None}),
        ({}, {"setup": {"hookup": "elsewhere"}}),
        ({}, {"setup": {"hookup": []}}),
        ({}, {"window": float("inf")}),
        ({}, {"board_text": 5}),
        ({}, {"bad_frames": float("inf")}),
        ({}, {"versions": "ab"}),
        ({}, {"version": 2}),
    ],
)
def test_a_well_formed_capture_that_does_not_fit_is_told_of(
    tmp_path: Path, capture: Capture, arrays: dict[str, Any], meta: dict[str, Any]
) -> None:
    path = tmp_path / "a.sweep"
    path.write_bytes(crafted(capture, arrays, **meta))
    with pytest.raises(CaptureFileError) as caught:
        read_capture(path)
    says_all(caught.value)


# --- journals


def journal_bytes() -> tuple[bytes, int]:
    head = JournalHead(
        "2026-01-01T00:00:00+00:00", HELLO, SweepSetup(), wire.WINDOW, wire.CONVERSION_HZ, n_windows=160
    )
    n = wire.RECORDS_PER_PACKET
    packets = (
        wire.encode(wire.RECORDS, i, i * n, b"".join(record(i * n + j) for j in range(n))) for i in range(10)
    )
    return head.to_line() + b"boot\r\n" + b"".join(packets), len(head.to_line())


def test_a_journal_cut_at_any_byte_keeps_its_whole_packets(tmp_path: Path) -> None:
    whole, n_head = journal_bytes()
    packet = (len(whole) - n_head) // 10
    for at in range(0, len(whole), 37):
        folder = tmp_path / str(at)
        folder.mkdir()
        (folder / "a.journal").write_bytes(whole[:at])
        found = recover(folder)
        kept = len(read_capture(found[0]).records) if found else 0
        assert kept >= max(0, (at - n_head) // (packet + 1) - 1) * wire.RECORDS_PER_PACKET
        if not found:
            assert (folder / "a.journal-unusable").read_bytes() == whole[:at]


def test_junk_inside_a_journal_costs_its_packets_only(tmp_path: Path) -> None:
    whole, n_head = journal_bytes()
    draw = random.Random(2)
    for i in range(60):
        folder = tmp_path / str(i)
        folder.mkdir()
        data = bytearray(whole)
        data[draw.randrange(n_head, len(data))] = draw.randrange(256)
        (folder / "a.journal").write_bytes(data)
        (path,) = recover(folder)
        assert len(read_capture(path).records) >= 8 * wire.RECORDS_PER_PACKET
