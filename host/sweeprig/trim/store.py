"""Trims on disk: one JSON file for each rig, named by its serial number."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from sweeprig.capture.atomic import write_atomically
from sweeprig.errors import TrimFileError
from sweeprig.trim.model import Trim
from sweeprig.trim.read import read_trim

FORMAT = "sweeprig-trim"
VERSION = 1
MOST_BYTES = 8 << 20  # of a file: a trim with a histogram of every code has less than 1 MB


def trim_to_dict(trim: Trim) -> dict[str, Any]:
    """Return a trim as plain data for JSON; an infinite number of degrees of freedom is null."""
    data = asdict(trim)
    for own in (*data["channels"], *([data["monitor"]] if data["monitor"] else [])):
        if not np.isfinite(own["line"]["dof"]):
            own["line"]["dof"] = None
        if own["linearity"] is not None:
            for key in ("code", "error_lsb"):
                own["linearity"][key] = np.asarray(own["linearity"][key]).tolist()
    return {"format": FORMAT, "version": VERSION, **data}


def trim_from_dict(data: Mapping[str, Any]) -> Trim:
    """Return the trim in plain data. Raises TrimFileError, which names the key that does not fit."""
    if data.get("format") != FORMAT or data.get("version") != VERSION or data.get("version") is True:
        raise TrimFileError(
            "This is no trim, or one of another version.",
            seen=f"{data.get('format')!s:.40} version {data.get('version')!s:.40}",
            limit=f"{FORMAT} version {VERSION}",
            next_step="calibrate the rig again: sweeprig trim",
        )
    try:
        return read_trim({key: value for key, value in data.items() if key not in ("format", "version")})
    except (LookupError, TypeError, ValueError, ArithmeticError, AttributeError, RecursionError) as exc:
        raise TrimFileError(
            "The trim is damaged.", seen=f"{exc!s:.300}", next_step="calibrate the rig again: sweeprig trim"
        ) from exc


def misfit(trim: Trim, rig: Mapping[str, Any]) -> tuple[str, str]:
    """Return what a trim is of and what the rig is, where a trim is another rig's, build's or chip's; else "", "".

    `rig` is its hello; what it does not say is not compared.
    """
    for word, of_trim, key in (
        ("rig", trim.rig_uid, "uid"),
        ("build", trim.build, "build"),
        ("chip", trim.chip, "chip"),
    ):
        if str(rig.get(key, of_trim)) != of_trim:
            return f"{word} {of_trim or 'not named'}", f"{word} {rig[key]!s:.80}"
    return "", ""


def check_fits(trim: Trim, rig: Mapping[str, Any]) -> Trim:
    """Return the trim. Raises TrimFileError where it is another rig's, build's or chip's."""
    seen, limit = misfit(trim, rig)
    if seen:
        raise TrimFileError(
            "The trim stored for this rig is not its own.",
            seen=seen,
            limit=limit,
            next_step="trim this rig, which sets the file aside: sweeprig trim",
        )
    return trim


def trim_path(uid: str, *, folder: Path) -> Path:
    """Return the file of one rig's trim."""
    return folder / f"{re.sub(r'[^A-Za-z0-9_-]', '_', uid[:100]) or 'unknown'}.json"


def load_trim(uid: str, *, folder: Path) -> Trim | None:
    """Return the stored trim of a rig, None where there is none. Raises TrimFileError."""
    path = trim_path(uid, folder=folder)
    try:
        if path.stat().st_size > MOST_BYTES:
            raise ValueError(f"more than {MOST_BYTES} bytes")
        data = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError, RecursionError, MemoryError) as exc:
        raise TrimFileError(
            f"The trim {path} cannot be read.",
            seen=f"{exc!s:.300}",
            next_step="remove it and calibrate again: sweeprig trim",
        ) from exc
    return trim_from_dict(data if isinstance(data, dict) else {})


def save_trim(trim: Trim, *, folder: Path) -> Path:
    """Write a rig's new trim whole or not at all; the one before is kept beside it with its date."""
    path = trim_path(trim.rig_uid, folder=folder)
    if path.exists():
        stamp = re.sub(r"[^0-9]", "", _date_of(path))[:14] or "unreadable"
        (folder / "before").mkdir(exist_ok=True)
        path.replace(_free(folder / "before" / f"{path.stem}-{stamp}.json"))
    return update_trim(trim, folder=folder)


def update_trim(trim: Trim, *, folder: Path) -> Path:
    """Write a rig's trim over the one that is there, whole or not at all. Raises TrimFileError."""
    path = trim_path(trim.rig_uid, folder=folder)
    step = "free some space or mend the folder's rights"
    data = json.dumps(trim_to_dict(trim), indent=1, allow_nan=False).encode()
    write_atomically(path, data, next_step=step, error=TrimFileError)
    return path


def stored_uids(*, folder: Path) -> list[str]:
    """Return the serial numbers of the rigs that have a trim, sorted."""
    return sorted(path.stem for path in folder.glob("*.json"))


def _date_of(path: Path) -> str:
    """Return when a stored trim was made; "" where it cannot be read."""
    try:
        return str(json.loads(path.read_text(encoding="utf-8"))["made_at"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return ""


def _free(path: Path) -> Path:
    number, free = 1, path
    while free.exists():
        number += 1
        free = path.with_stem(f"{path.stem}-{number}")
    return free
