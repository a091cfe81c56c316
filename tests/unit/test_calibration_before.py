"""Captures, journals and calibrations of versions that called a calibration by another word are still read."""

from __future__ import annotations

import json
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest

from support.outcomes import make_calibration
from sweeprig.calibration.store import (
    calibration_from_dict,
    calibration_path,
    calibration_to_dict,
    load_calibration,
    save_calibration,
    stored_uids,
)
from sweeprig.capture.file import pack, read_capture
from sweeprig.capture.plausible import renamed
from sweeprig.twin.capture import capture_of

BEFORE = {"format": "sweeprig-trim"}


def as_before(folder: Path) -> str:
    """Store a calibration as earlier versions did; return its rig."""
    own = make_calibration()
    place = folder.parent / "trims"
    place.mkdir()
    text = json.dumps({**calibration_to_dict(own), **BEFORE})
    (place / calibration_path(own.rig_uid, folder=folder).name).write_text(text)
    return own.rig_uid


def with_former_key(data: bytes) -> bytes:
    """Return the description of a capture as earlier versions wrote it."""
    return json.dumps(
        {"trim" if key == "calibration" else key: v for key, v in json.loads(data).items()}
    ).encode()


def test_a_calibration_of_the_former_format_is_read():
    data = calibration_to_dict(make_calibration())
    assert calibration_to_dict(calibration_from_dict({**data, **BEFORE})) == data


def test_the_former_folder_is_looked_into(tmp_path: Path):
    folder = tmp_path / "calibrations"
    uid = as_before(folder)
    found = load_calibration(uid, folder=folder)
    assert found is not None
    assert found.rig_uid == uid
    assert stored_uids(folder=folder) == [calibration_path(uid, folder=folder).stem]


def test_a_new_one_sets_the_former_file_aside(tmp_path: Path):
    folder = tmp_path / "calibrations"
    uid = as_before(folder)
    path = save_calibration(make_calibration(), folder=folder)
    assert path.parent == folder
    assert not list((tmp_path / "trims").iterdir())
    assert len(list((folder / "before").iterdir())) == 1
    assert load_calibration(uid, folder=folder) is not None


@pytest.mark.parametrize("kept", [None, {"kind": "line"}])
def test_the_former_key_of_a_description_is_read(kept: object):
    assert renamed({"rig": {}, "trim": kept}) == {"rig": {}, "calibration": kept}
    assert renamed({"calibration": kept, "trim": 1})["calibration"] == kept


def test_a_capture_file_with_the_former_key_is_read(tmp_path: Path):
    own = calibration_to_dict(make_calibration())
    now, before = tmp_path / "now.zip", tmp_path / "before.zip"
    now.write_bytes(pack(replace(capture_of("good", seconds=2.0), calibration=own)))
    with zipfile.ZipFile(now) as source, zipfile.ZipFile(before, "w") as target:
        for name in source.namelist():
            data = source.read(name)
            target.writestr(name, with_former_key(data) if name == "capture.json" else data)
    assert read_capture(before).calibration == read_capture(now).calibration
    assert read_capture(now).calibration
