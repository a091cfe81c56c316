"""`trim show` and `trim list`: what is stored."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sweeprig.cli import options as opt
from sweeprig.cli.console import console
from sweeprig.cli.trim.options import Rig

if TYPE_CHECKING:
    from sweeprig.trim.model import Trim


def stored(uid: str, folder: Path) -> Trim:
    """Return the stored trim of a rig. Raises TrimError."""
    from sweeprig.errors import TrimError
    from sweeprig.trim.store import load_trim

    found = load_trim(uid, folder=folder)
    if found is None:
        raise TrimError("No trim of this rig is stored.", seen=uid, next_step="sweeprig trim")
    return found


def show(rig: Rig = "", as_json: opt.AsJson = False) -> None:
    """Print a stored trim: line, residuals, what it is worth, its check standards."""
    from sweeprig.bench.trim.text import trim_lines
    from sweeprig.capture.folder import local_now
    from sweeprig.cli.session import settings
    from sweeprig.errors import TrimError
    from sweeprig.trim.store import stored_uids, trim_to_dict

    folder = settings()[1].trims
    uids = stored_uids(folder=folder)
    if not rig and len(uids) != 1:
        raise TrimError(
            "Which rig?" if uids else "No trim is stored.", seen=", ".join(uids) or "none",
            next_step="name one: sweeprig trim show RIG" if uids else "sweeprig trim",
        )  # fmt: skip
    found = stored(rig or uids[0], folder)
    console.answer(as_json, lambda: trim_to_dict(found), lambda: trim_lines(found, now=local_now()))


def list_trims(as_json: opt.AsJson = False) -> None:
    """List the rigs that have a trim, its kind and age, and what is due."""
    from sweeprig.bench.trim.verify import age_days, due
    from sweeprig.capture.folder import local_now
    from sweeprig.cli.session import settings
    from sweeprig.trim.store import stored_uids

    folder, now = settings()[1].trims, local_now()
    rows = []
    for uid in stored_uids(folder=folder):
        found = stored(uid, folder)
        rows.append({"rig": uid, "kind": found.kind, "made_at": found.made_at, "due": due(found, now=now),
                     "age_days": age_days(found, now=now)})  # fmt: skip
    if as_json:
        console.show_json(rows)
        return
    for row in rows:
        age = "" if row["age_days"] is None else f"{row['age_days']:.0f} days"
        console.show(f"{row['rig']:24}{row['kind']:18}{age:12}{row['due']}")
    if not rows:
        console.say("No trim is stored. Next: sweeprig trim")
