"""`calibrate show` and `calibrate list`: what is stored."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sweeprig.cli import options as opt
from sweeprig.cli.calibration.options import Rig
from sweeprig.cli.console import console

if TYPE_CHECKING:
    from sweeprig.calibration.model import Calibration


def stored(uid: str, folder: Path) -> Calibration:
    """Return the stored calibration of a rig. Raises CalibrationError."""
    from sweeprig.calibration.store import load_calibration
    from sweeprig.errors import CalibrationError

    found = load_calibration(uid, folder=folder)
    if found is None:
        raise CalibrationError(
            "No calibration of this rig is stored.", seen=uid, next_step="sweeprig calibrate"
        )
    return found


def show(rig: Rig = "", as_json: opt.AsJson = False) -> None:
    """Print a stored calibration: its straight line, each point's distance from it, the ±, the verifications."""
    from sweeprig.bench.calibration.text import lines_of_calibration
    from sweeprig.calibration.store import calibration_to_dict, stored_uids
    from sweeprig.capture.folder import local_now
    from sweeprig.cli.session import settings
    from sweeprig.errors import CalibrationError

    folder = settings()[1].calibrations
    uids = stored_uids(folder=folder)
    if not rig and len(uids) != 1:
        raise CalibrationError(
            "More than one rig is calibrated." if uids else "No calibration is stored.", seen=", ".join(uids),
            next_step="name one: sweeprig calibrate show RIG" if uids else "sweeprig calibrate",
        )  # fmt: skip
    found = stored(rig or uids[0], folder)
    console.answer(
        as_json,
        lambda: calibration_to_dict(found),
        lambda: lines_of_calibration(found, now=local_now(), width=console.width),
    )


def list_calibrations(as_json: opt.AsJson = False) -> None:
    """List calibrated rigs: kind of calibration, age, and what is due."""
    from sweeprig.bench.calibration.text import list_lines
    from sweeprig.calibration.store import stored_uids
    from sweeprig.capture.folder import local_now
    from sweeprig.cli.session import settings

    folder = settings()[1].calibrations
    rows = [_row(uid, folder, local_now()) for uid in stored_uids(folder=folder)]
    if as_json:
        console.show_json(rows)
        return
    for line in list_lines(rows, console.width) if rows else ():
        console.show(line)
    if not rows:
        console.say("No calibration is stored. Next: sweeprig calibrate")


def _row(uid: str, folder: Path, now: datetime) -> dict[str, Any]:
    """Return one rig's line; a calibration that cannot be read gets a line that says so."""
    from sweeprig.bench.calibration.verify import due
    from sweeprig.calibration.age import age_days
    from sweeprig.calibration.store import is_of
    from sweeprig.errors import CalibrationFileError

    try:
        found = stored(uid, folder)
    except CalibrationFileError as error:
        return {"rig": uid, "kind": "damaged", "made_at": "", "due": str(error), "age_days": None}
    if not is_of(found, uid):
        said = f"belongs to rig {found.rig_uid or 'not named'}: no sweep takes it; calibrate this rig"
        return {"rig": uid, "kind": found.kind, "made_at": found.made_at, "due": said, "age_days": None}
    return {"rig": uid, "kind": found.kind, "made_at": found.made_at, "due": due(found, now=now),
            "age_days": age_days(found.made_at, now)}  # fmt: skip
