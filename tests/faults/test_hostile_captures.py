"""Capture files whose digests fit and whose contents nobody meant well: one error that names the key."""

from __future__ import annotations

import hashlib
import io
import json
import math
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sweepboard import wire
from sweeprig.capture import file, members
from sweeprig.capture.file import pack, read_capture
from sweeprig.capture.model import Capture
from sweeprig.capture.sweep import n_windows_of
from sweeprig.errors import CaptureFileError
from sweeprig.twin.capture import capture_of


@pytest.fixture(scope="module")
def capture() -> Capture:
    return capture_of("good", seconds=0.5)


def crafted(capture: Capture, raw: dict[str, bytes], **meta: Any) -> bytes:
    """A capture file with other members and other entries, all digests right."""
    with zipfile.ZipFile(io.BytesIO(pack(capture))) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    plain = json.loads(members.pop("capture.json")) | meta
    members |= raw
    plain["sha256"] = {name: hashlib.sha256(data).hexdigest() for name, data in members.items()}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in {"capture.json": json.dumps(plain).encode(), **members}.items():
            archive.writestr(name, data)
    return out.getvalue()


def npy(array: Any) -> bytes:
    out = io.BytesIO()
    np.save(out, array)
    return out.getvalue()


def header(text: str) -> bytes:
    return b"\x93NUMPY\x01\x00" + len(text).to_bytes(2, "little") + text.encode()


def refused(tmp_path: Path, data: bytes) -> CaptureFileError:
    path = tmp_path / "a.sweep"
    path.write_bytes(data)
    with pytest.raises(CaptureFileError) as caught:
        read_capture(path)
    error = caught.value
    assert error.seen
    assert error.limit
    assert error.next_step
    assert len(str(error)) < 1500
    return error


META: list[tuple[str, list[Any]]] = [
    ("conversion_hz", [0, -1, math.nan, math.inf, "500000", None, True, 10**400, 1e300]),
    ("window", [0, -1, 1.5, "166", None, True, 10**30]),
    ("bad_frames", [-1, 1.5, "0", None]),
    ("calibration", [5, [], "x", True]),
    ("rig", [5, [], None, "x"]),
    ("versions", [5, [["a", "b"]], None]),
    ("board_text", ["text", [5], None, {}]),
    ("coaching", ["text", [5], None]),
    ("created", [5, None, []]),
    ("ended", [5, None]),
    ("setup", [5, [], None, "x"]),
]


@pytest.mark.parametrize(("key", "value"), [(key, v) for key, values in META for v in values])
def test_an_entry_that_cannot_be_is_named(tmp_path: Path, capture: Capture, key: str, value: Any) -> None:
    assert key in refused(tmp_path, crafted(capture, {}, **{key: value})).seen


SETUP: list[tuple[str, list[Any]]] = [
    ("track_ohm", [0, -5, math.nan, math.inf, "5000", True, []]),
    ("seconds", [0, -1, math.inf, "5", None, True]),
    ("operator", [5, None, []]),
    ("sensor_label", [5, {}]),
    ("confirmed", ["text", [5], None]),
    ("prepared", ["text", 5]),
    ("hookup", ["elsewhere", 5, None, []]),
]


@pytest.mark.parametrize(("key", "value"), [(key, v) for key, values in SETUP for v in values])
def test_a_word_of_the_setup_that_cannot_be_is_named(
    tmp_path: Path, capture: Capture, key: str, value: Any
) -> None:
    with zipfile.ZipFile(io.BytesIO(pack(capture))) as archive:
        setup = json.loads(archive.read("capture.json"))["setup"]
    assert key in refused(tmp_path, crafted(capture, {}, setup=setup | {key: value})).seen


def test_codes_and_sums_beyond_the_converter_are_named(tmp_path: Path, capture: Capture) -> None:
    for name, most in (("mins", 4095), ("maxs", 4095), ("sums", 4095 * capture.window)):
        array = getattr(capture.records, name).copy()
        array[3, 1] = most
        (tmp_path / "good.sweep").write_bytes(crafted(capture, {f"{name}.npy": npy(array)}))
        read_capture(tmp_path / "good.sweep")
        array[3, 1] = most + 1
        assert (
            f"{name} {most + 1} at record 3"
            in refused(tmp_path, crafted(capture, {f"{name}.npy": npy(array)})).seen
        )


@pytest.mark.parametrize(
    "head",
    [[0, 0, 0, 0, 0, 2], [0, 0, 0, -3, 0, 2], [0, 0, 0, 3, 3, 2], [0, 0, 0, 3, -1, 2], [0, 0, 0, 4, 0, 2]],
)
def test_a_snapshot_without_channels_is_named(tmp_path: Path, capture: Capture, head: list[int]) -> None:
    raw = {"snapshots.npy": npy(np.array([head])), "snapshot_codes.npy": npy(np.zeros(2, np.uint16))}
    assert "snapshots" in refused(tmp_path, crafted(capture, raw)).seen


def test_snapshot_codes_beyond_the_converter_are_named(tmp_path: Path, capture: Capture) -> None:
    raw = {
        "snapshots.npy": npy(np.array([[0, 0, 0, 3, 0, 2]])),
        "snapshot_codes.npy": npy(np.full(2, 5000, np.uint16)),
    }
    assert "snapshot_codes" in refused(tmp_path, crafted(capture, raw)).seen


@pytest.mark.parametrize(
    "data",
    [
        header("{'descr': '<i8', 'fortran_order': False, 'shape': (1000000000000000,), }\n"),
        header("{'descr': '<i8', 'fortran_order': False, 'shape': (-1,), }\n"),
        header("{'descr': '|V0', 'fortran_order': False, 'shape': (9999999999,), }\n"),
        header("{'descr': '<i8', 'fortran_order': False, 'shape': (1L,), }\n"),
        header("{'descr': '<i8', (\n"),
        header("'''\n"),
        header("(" * 5000 + "\n"),
        header(""),
        b"\x93NUMPY\x02\x00",
        b"",
    ],
)
def test_an_array_whose_header_lies_takes_no_memory(tmp_path: Path, capture: Capture, data: bytes) -> None:
    refused(tmp_path, crafted(capture, {"index.npy": data}))


@pytest.mark.parametrize(("member", "limit"), [("index.npy", "MOST_MEMBER"), ("capture.json", "MOST_META")])
def test_what_unpacks_to_too_much_is_not_unpacked(
    tmp_path: Path, capture: Capture, monkeypatch: pytest.MonkeyPatch, member: str, limit: str
) -> None:
    monkeypatch.setattr(members if member.endswith(".npy") else file, limit, 100)
    seen = refused(tmp_path, pack(capture)).seen
    assert member in seen
    assert "100 bytes" in seen


def test_the_longest_sweep_can_be_read_again_and_not_much_more() -> None:
    sums = 12 * n_windows_of(86400.0, 3 * wire.WINDOW / wire.CONVERSION_HZ)
    assert sums < members.MOST_MEMBER < 2 * sums


def test_another_way_of_packing_is_refused(tmp_path: Path, capture: Capture) -> None:
    with zipfile.ZipFile(io.BytesIO(pack(capture))) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_BZIP2) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    assert "another compression" in refused(tmp_path, out.getvalue()).seen
