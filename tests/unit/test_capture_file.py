"""The capture file: what goes in comes out, and damage never goes unseen."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sweeprig.capture import atomic
from sweeprig.capture.file import pack, read_capture, write_capture
from sweeprig.capture.model import Capture, Hookup, Sense, Starts, SweepSetup
from sweeprig.errors import CaptureFileError
from sweeprig.link.messages import Gap, Mark, Records, SlowReading, Snapshot


def capture_of(n: int = 50) -> Capture:
    rng = np.random.default_rng(3)
    index = np.cumsum(rng.integers(1, 3, n))
    sums = rng.integers(0, 680_000, (n, 3)).astype(np.uint32)
    records = Records(
        index=index.astype(np.int64),
        sums=sums,
        mins=rng.integers(0, sums // 166, endpoint=True).astype(np.uint16),
        maxs=rng.integers(-(-sums.astype(np.int64) // 166), 4096).astype(np.uint16),
        position=np.full(n, 0xFFFF, np.uint16),
        flags=rng.integers(0, 256, n).astype(np.uint16),
    )
    return Capture(
        records=records,
        rig={"uid": "00ff", "build": "full", "hookups": ["powered"], "smps": None},
        setup=SweepSetup(
            hookup=Hookup.TAPPED,
            starts=Starts.OPEN,
            sense=Sense.FALLING,
            track_ohm=5012.5,
            operator='<b>"Müller" & Söhne</b>',
            confirmed=("engine off", "wheels chocked"),
        ),
        created="2026-01-02T03:04:05+01:00",
        window=166,
        conversion_hz=500_000.0,
        gaps=(Gap(7, 3, 1), Gap(2**33, 1, 2)),
        snapshots=(
            Snapshot(5, 1, 2, 3, 0, np.arange(30, dtype=np.uint16)),
            Snapshot(9, 0, 0, 3, 1, np.zeros(0, np.uint16)),
            Snapshot(11, 4, 5, 3, 2, np.arange(6, dtype=np.uint16)),
        ),
        slow=(SlowReading(1, 3, 0, -5), SlowReading(2, 6, 1, 2**31 - 1)),
        marks=(Mark(4, 0, 1),),
        board_text=("ready", "°C"),
        calibration={"gain": [1.0, 2.0], "when": "2026-01-01"},
        versions={"sweeprig": "0.1.0"},
        ended="stopped",
        coaching=("slow open",),
        bad_frames=2,
    )


def same(a: Capture, b: Capture) -> bool:
    """Compare with arrays as lists, files left out."""

    def plain(c: Capture) -> str:
        said = json.dumps([dict(c.rig), dict(c.calibration or {}), dict(c.versions)], sort_keys=True)
        bare = replace(c, sha256="", path="", journal="", rig={}, calibration=None, versions={})
        return (
            said
            + repr(bare).replace("\n", "")
            + "".join(
                repr(getattr(c.records, name).tolist()) + str(getattr(c.records, name).dtype)
                for name in ("index", "sums", "mins", "maxs", "position", "flags")
            )
            + repr([s.codes.tolist() for s in c.snapshots])
        )

    return plain(a) == plain(b)


def test_what_goes_in_comes_out(tmp_path: Path) -> None:
    path = tmp_path / "new" / "a.sweep"
    before = capture_of()
    written = write_capture(path, before)
    after = read_capture(path)
    assert same(before, after)
    assert written.sha256 == after.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert written.path == after.path == str(path)
    assert after.setup.confirmed == ("engine off", "wheels chocked")
    assert after.setup.sense is Sense.FALLING


def test_a_capture_with_nothing_beside_its_records(tmp_path: Path) -> None:
    before = replace(capture_of(3), gaps=(), snapshots=(), slow=(), marks=(), calibration=None, board_text=())
    write_capture(tmp_path / "a.sweep", before)
    assert same(before, read_capture(tmp_path / "a.sweep"))


def test_equal_captures_are_equal_files() -> None:
    assert pack(capture_of()) == pack(capture_of())


def test_any_program_can_read_it(tmp_path: Path) -> None:
    """As the reference says: zipfile, json and numpy.load, nothing of ours."""
    write_capture(tmp_path / "a.sweep", capture_of())
    with zipfile.ZipFile(tmp_path / "a.sweep") as archive:
        meta = json.loads(archive.read("capture.json"))
        sums = np.load(io.BytesIO(archive.read("sums.npy")), allow_pickle=False)
        for name, digest in meta["sha256"].items():
            assert hashlib.sha256(archive.read(name)).hexdigest() == digest
    assert (meta["format"], meta["version"], meta["n_records"]) == ("sweeprig-capture", 1, 50)
    assert (sums == capture_of().records.sums).all()


def test_a_file_cut_anywhere_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.sweep"
    write_capture(path, capture_of())
    data = path.read_bytes()
    for size in range(0, len(data), 37):
        path.write_bytes(data[:size])
        with pytest.raises(CaptureFileError, match="not a capture file, or it is damaged"):
            read_capture(path)


def test_a_flipped_byte_is_refused_or_changes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "a.sweep"
    before = capture_of()
    write_capture(path, before)
    data = path.read_bytes()
    n_refused = 0
    for at in range(0, len(data), 11):
        path.write_bytes(data[:at] + bytes([data[at] ^ 0xFF]) + data[at + 1 :])
        try:
            assert same(read_capture(path), before)  # a byte of the zip's own dates or attributes
        except CaptureFileError:
            n_refused += 1
    assert n_refused > 0.6 * len(range(0, len(data), 11))


def rewritten(path: Path, **changes: object) -> Path:
    """Write the file anew with other values in its description."""
    with zipfile.ZipFile(path) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    meta = json.loads(members["capture.json"])
    meta.update(changes)
    members["capture.json"] = json.dumps(meta).encode()
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return path


def test_another_version_and_another_format_are_told_apart(tmp_path: Path) -> None:
    path = tmp_path / "a.sweep"
    write_capture(path, capture_of())
    with pytest.raises(CaptureFileError, match=r"another version.*version 2.*version 1"):
        read_capture(rewritten(path, version=2))
    with pytest.raises(CaptureFileError, match="not a capture file"):
        read_capture(rewritten(path, format="something else"))


def test_a_setup_that_does_not_fit_is_named(tmp_path: Path) -> None:
    path = tmp_path / "a.sweep"
    write_capture(path, capture_of())
    with pytest.raises(CaptureFileError, match="sideways"):
        read_capture(rewritten(path, setup={"sense": "sideways"}))
    assert read_capture(rewritten(path, setup={"seconds": 2, "of_a_later_version": 1})).setup.seconds == 2.0


@pytest.mark.parametrize("content", [b"", b"time_s,signal_v\n0,1\n", b"PK\x03\x04", b"\0" * 1000])
def test_what_is_no_zip_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "a.sweep"
    path.write_bytes(content)
    with pytest.raises(CaptureFileError, match="damaged"):
        read_capture(path)


def test_an_index_that_falls_back_is_refused(tmp_path: Path) -> None:
    bad = capture_of(5)
    index = bad.records.index[::-1].copy()
    (tmp_path / "a.sweep").write_bytes(pack(replace(bad, records=replace(bad.records, index=index))))
    with pytest.raises(CaptureFileError, match="does not rise"):
        read_capture(tmp_path / "a.sweep")


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(CaptureFileError, match=r"none\.sweep cannot be read"):
        read_capture(tmp_path / "none.sweep")


def test_a_write_that_fails_leaves_the_old_file_and_the_journal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.sweep"
    write_capture(path, capture_of(5))
    old = path.read_bytes()
    journal = tmp_path / "a.journal"
    journal.write_bytes(b"x")

    def fail(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(atomic.os, "fsync", fail)
    with pytest.raises(CaptureFileError, match="No space left"):
        write_capture(path, replace(capture_of(6), journal=str(journal)))
    assert path.read_bytes() == old
    assert sorted(p.name for p in tmp_path.iterdir() if p.is_file()) == ["a.journal", "a.sweep"]


def test_writing_removes_the_journal(tmp_path: Path) -> None:
    journal = tmp_path / "a.journal"
    journal.write_bytes(b"x")
    written = write_capture(tmp_path / "a.sweep", replace(capture_of(), journal=str(journal)))
    assert not journal.exists()
    assert written.journal == ""
