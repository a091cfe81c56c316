"""Calibrations on disk: one JSON file for each rig, named by its serial number."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from sweeprig.calibration.model import Calibration
from sweeprig.calibration.read import read_calibration
from sweeprig.capture.atomic import write_atomically
from sweeprig.capture.regular import read_text
from sweeprig.errors import CalibrationFileError

FORMAT = "sweeprig-calibration"
_FORMATS = (FORMAT, "sweeprig-trim")  # the second: the name of earlier versions
_FOLDER_BEFORE = "trims"  # the folder of earlier versions, beside that of today
VERSION = 1
MOST_BYTES = 8 << 20  # of a file: a calibration with a histogram of every code has less than 1 MB


def calibration_to_dict(calibration: Calibration) -> dict[str, Any]:
    """Return a calibration as plain data for JSON; an infinite number of degrees of freedom is null."""
    data = asdict(calibration)
    for own in (*data["channels"], *([data["monitor"]] if data["monitor"] else [])):
        if not np.isfinite(own["line"]["dof"]):
            own["line"]["dof"] = None
        if own["linearity"] is not None:
            for key in ("code", "error_lsb"):
                own["linearity"][key] = np.asarray(own["linearity"][key]).tolist()
    return {"format": FORMAT, "version": VERSION, **data}


SPACE = "free some space or correct the folder's permissions"
AGAIN = "calibrate the rig again: sweeprig calibrate"


def calibration_from_dict(
    data: Mapping[str, Any], where: str = "", *, part: str = "The calibration", next_step: str = AGAIN
) -> Calibration:
    """Return the calibration in plain data, of the file `where`.

    Raises CalibrationFileError, which names the file and the key that does not fit.
    """
    name = f"{part} {where}" if where else "The calibration"
    if data.get("format") not in _FORMATS or data.get("version") != VERSION or data.get("version") is True:
        raise CalibrationFileError(
            f"{name} is not a calibration of this version.",
            seen=f"{data.get('format')!s:.40} version {data.get('version')!s:.40}",
            limit=f"{FORMAT} version {VERSION}",
            next_step=next_step,
        )
    try:
        return read_calibration(
            {key: value for key, value in data.items() if key not in ("format", "version")}
        )
    except (LookupError, TypeError, ValueError, ArithmeticError, AttributeError, RecursionError) as exc:
        raise CalibrationFileError(
            f"{name} is damaged.",
            seen=f"{exc!s:.300}",
            next_step=next_step,
        ) from exc


def misfit(calibration: Calibration, rig: Mapping[str, Any]) -> tuple[str, str]:
    """Return in words what a calibration belongs to and what the rig is, if rig, build or chip differ; else "", "".

    `rig` is its hello; what it does not say is not compared.
    """
    for word, of_calibration, key in (
        ("rig", calibration.rig_uid, "uid"),
        ("build", calibration.build, "build"),
        ("chip", calibration.chip, "chip"),
    ):
        if str(rig.get(key, of_calibration)) != of_calibration:
            return f"{word} {of_calibration or 'not named'}", f"{word} {rig[key]!s:.80}"
    return "", ""


def check_fits(calibration: Calibration, rig: Mapping[str, Any]) -> Calibration:
    """Return the calibration. Raises CalibrationFileError where it is another rig's, build's or chip's."""
    seen, limit = misfit(calibration, rig)
    if seen:
        raise CalibrationFileError(
            "The calibration stored for this rig belongs to another rig.",
            seen=seen,
            limit=limit,
            next_step="calibrate this rig (the old file is kept under another name): sweeprig calibrate",
        )
    return calibration


def calibration_path(uid: str, *, folder: Path) -> Path:
    """Return the file of one rig's calibration."""
    return folder / _name(uid)


def is_of(calibration: Calibration, uid: str) -> bool:
    """Whether a calibration is of the rig whose name its file has."""
    return _name(calibration.rig_uid) == _name(uid)


def _name(uid: str) -> str:
    return f"{re.sub(r'[^A-Za-z0-9_-]', '_', uid[:100]) or 'unknown'}.json"


def _where(uid: str, folder: Path) -> Path:
    """Return the file that holds a rig's calibration: with the present form of name, else with the former one."""
    path, before = calibration_path(uid, folder=folder), folder.parent / _FOLDER_BEFORE / _name(uid)
    return before if before.exists() and not path.exists() else path


def load_calibration(uid: str, *, folder: Path) -> Calibration | None:
    """Return the stored calibration of a rig, None where there is none. Raises CalibrationFileError."""
    path = _where(uid, folder)
    try:
        data = json.loads(read_text(path, most=MOST_BYTES))
    except FileNotFoundError:
        return None
    except (OSError, ValueError, RecursionError, MemoryError) as exc:
        raise CalibrationFileError(
            f"The calibration {path} cannot be read.",
            seen=f"{exc!s:.300}",
            next_step="remove it and calibrate again: sweeprig calibrate",
        ) from exc
    return calibration_from_dict(data if isinstance(data, dict) else {}, str(path))


def save_calibration(calibration: Calibration, *, folder: Path) -> Path:
    """Write a rig's new calibration whole or not at all; the one before is kept beside it with its date."""
    path = _where(calibration.rig_uid, folder)
    data = _data_of(calibration)
    if path.exists():
        stamp = re.sub(r"[^0-9]", "", _date_of(path))[:14] or "unreadable"
        kept = _free(folder / "before" / f"{path.stem}-{stamp}.json")
        write_atomically(kept, path.read_bytes(), next_step=SPACE, error=CalibrationFileError)
    new = _write(data, calibration, folder)
    if path != new:  # it had a name of earlier versions
        path.unlink(missing_ok=True)
    return new


def update_calibration(calibration: Calibration, *, folder: Path) -> Path:
    """Write a rig's calibration over the one that is there, whole or not at all. Raises CalibrationFileError."""
    return _write(_data_of(calibration), calibration, folder)


def _data_of(calibration: Calibration) -> bytes:
    """Return the data to write for a calibration, checked by reading it back once. Raises CalibrationFileError."""
    try:
        text = json.dumps(calibration_to_dict(calibration), indent=1, allow_nan=False)
        calibration_from_dict(json.loads(text))
    except (ValueError, CalibrationFileError) as exc:
        seen = exc.seen if isinstance(exc, CalibrationFileError) else str(exc)
        raise CalibrationFileError(
            "The calibration cannot be stored: it could not be read again. The one before is unchanged.",
            seen=f"{seen:.300}",
            next_step="check what was given, then calibrate again",
        ) from exc
    return text.encode()


def _write(data: bytes, calibration: Calibration, folder: Path) -> Path:
    path = calibration_path(calibration.rig_uid, folder=folder)
    write_atomically(path, data, next_step=SPACE, error=CalibrationFileError)
    return path


def stored_uids(*, folder: Path) -> list[str]:
    """Return the serial numbers of the rigs that have a calibration, sorted."""
    folders = (folder, folder.parent / _FOLDER_BEFORE)
    return sorted({path.stem for each in folders for path in each.glob("*.json")})


def _date_of(path: Path) -> str:
    """Return when a stored calibration was made; "" where it cannot be read."""
    try:
        return str(json.loads(read_text(path, most=MOST_BYTES))["made_at"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return ""


def _free(path: Path) -> Path:
    number, free = 1, path
    while free.exists():
        number += 1
        free = path.with_stem(f"{path.stem}-{number}")
    return free
