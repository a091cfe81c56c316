"""One record as it goes into the database and as it comes out."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from datetime import datetime
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sweeprig.capture.regular import MOST_CAPTURE, read_regular
from sweeprig.errors import RecordsError

if TYPE_CHECKING:
    from sweeprig.judge.model import Quantity
    from sweeprig.judge.outcome import Outcome


DECIDED = (  # what the digest of a verdict is made of
    "profile", "guard_factor", "verdict", "reason", "sense", "closed_v", "closed_u95", "open_v", "open_u95",
    "supply_v", "strokes", "n_events", "quantities", "margins", "findings", "versions",
)  # fmt: skip


@dataclass(frozen=True)
class Record:
    """One capture with its verdict in force. Volts at the sensor; u95 is a half-width; None is not measured."""

    id: int
    created: str  # ISO 8601, when the capture was made
    at_s: float  # [s] since 1970-01-01 UTC, the same moment
    job: str
    label: str
    part: str
    serial: str
    verdict: str
    reason: str
    sense: str
    profile: str
    closed_v: float | None
    closed_u95: float | None
    open_v: float | None
    open_u95: float | None
    supply_v: float | None
    strokes: int
    n_events: int
    findings: tuple[dict[str, Any], ...]
    margins: tuple[dict[str, Any], ...]  # () where the record was not read in full
    quantities: dict[str, Any]  # {} where the record was not read in full
    guard_factor: float | None
    hookup: str
    operator: str
    rig_uid: str
    ended: str
    calibration: str  # kind of the calibration; "" for a CSV
    calibration_made_at: str
    capture_file: str
    sha256: str
    judged_at: str
    batch: str  # "" outside a series
    override: str = ""  # reason for which the interlock was overridden
    simulated: bool = False
    task: str = "sweep"  # sweep | wiggle | wiggle-far-end: what the capture was made for
    notes: str = ""

    @property
    def exceptions(self) -> tuple[str, ...]:
        """What a reader of the verdict has to know: simulated, how it ended, unless whole, and an override."""
        return exceptions_of(self.ended, self.override, simulated=self.simulated)

    @property
    def codes(self) -> tuple[str, ...]:
        """Codes of the findings that are faults."""
        return tuple(f["code"] for f in self.findings if f.get("severity", "fault") == "fault")


def exceptions_of(ended: str, override: str, *, simulated: bool = False) -> tuple[str, ...]:
    """Return a word for a simulated capture, for one that ended early, and for an override of the interlock."""
    of_nothing = ("SIMULATED",) if simulated else ()
    early = (f"ended early: {ended}",) if ended not in ("", "complete") else ()
    return (*of_nothing, *early, *((f"interlock overridden: {override}",) if override else ()))


def _stored_margin(margin: dict[str, Any]) -> dict[str, Any]:
    """Return a margin with the keys that records have had from the first."""
    return {"value_v" if key == "level_v" else key: value for key, value in margin.items()}


def plain(value: Any) -> Any:
    """Return dataclasses, arrays, enums and numbers as JSON has them; what is not finite is None."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    return plain(value.tolist()) if hasattr(value, "tolist") else _single(value)


def _single(value: Any) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value.value if isinstance(value, Enum) else value


def digest_of(data: Any) -> str:
    """Return the SHA-256 of `data` as JSON with sorted keys."""
    text = json.dumps(data, sort_keys=True, ensure_ascii=False, allow_nan=False)
    return hashlib.sha256(text.encode("utf-8", "backslashreplace")).hexdigest()


def text_of(value: Any) -> str:
    """Return text that any database takes: no NUL, no half of a surrogate pair, no blanks around it."""
    safe = str(value).replace("\0", "").encode("utf-8", "backslashreplace").decode("utf-8")
    return safe.strip()


def seconds_of(text: str) -> float:
    """Return an ISO 8601 time as seconds since 1970-01-01 UTC; one without an offset is local time."""
    try:
        return datetime.fromisoformat(text).timestamp()
    except ValueError as exc:
        raise RecordsError(
            "The capture's time is not valid.",
            seen=text or "nothing",
            limit="ISO 8601",
            next_step="review the capture again",
        ) from exc


def hash_of(outcome: Outcome, path: Path) -> str:
    """Return the SHA-256 of the capture's file; what a capture carries is taken, a CSV is read."""
    if outcome.capture is not None and outcome.capture.sha256:
        return outcome.capture.sha256
    try:
        return hashlib.sha256(read_regular(path, most=MOST_CAPTURE)).hexdigest()
    except OSError as exc:
        raise RecordsError(
            f"{path} cannot be read, so no record is kept.",
            seen=str(exc),
            next_step="check the file and repeat",
        ) from exc


def capture_row(outcome: Outcome, path: Path, batch: str) -> dict[str, Any]:
    """Return the row of `captures`, without its keys to other tables."""
    capture = outcome.capture
    created = (capture.created if capture else "") or outcome.made_at
    return {
        "sha256": hash_of(outcome, path),
        "path": text_of(path.absolute()),
        "created": created,
        "at": seconds_of(created),
        "rig_uid": text_of(capture.rig.get("uid", "")) if capture else "",
        "operator": text_of(outcome.setup.operator),
        "hookup": str(outcome.setup.hookup) if outcome.capture else "",
        "ended": capture.ended if capture else "",
        "batch": text_of(batch),
        "override": text_of(outcome.setup.override),
        "simulated": outcome.simulated,
        "task": text_of(outcome.setup.task),
        "notes": text_of(outcome.setup.notes),
    }


def calibration_row(outcome: Outcome) -> dict[str, Any] | None:
    """Return the row of `calibrations`; None where there is no calibration."""
    calibration = outcome.calibration
    if calibration is None:
        return None
    data = plain(calibration)
    return {
        "digest": digest_of(data),
        "rig_uid": calibration.rig_uid,
        "kind": calibration.kind,
        "made_at": calibration.made_at,
        "data": data,
    }


def _quantities(outcome: Outcome) -> dict[str, Any]:
    keep = ("unit", "value", "u95", "reason", "u", "dof")
    return {
        name: {key: plain(getattr(q, key)) for key in keep} | {"u_a": u_type_a(q)}
        for name, q in outcome.judgement.quantities.items()
    }


def u_type_a(quantity: Quantity) -> float | None:
    """Return the part of the standard uncertainty that comes from the data's own scatter; None without a budget."""
    parts = [line.contribution for line in quantity.budget if line.kind == "A"]
    return math.hypot(*parts) if quantity.budget else None


def verdict_row(outcome: Outcome) -> dict[str, Any]:
    """Return the row of `verdicts`, without its keys to other tables; `digest` tells one result from another."""
    judgement, analysis = outcome.judgement, outcome.analysis
    quantities = _quantities(outcome)
    closed, opened = quantities.get("closed_v", {}), quantities.get("open_v", {})
    row: dict[str, Any] = {
        "profile": judgement.profile_name,
        "guard_factor": plain(float(judgement.guard_factor)),
        "verdict": str(judgement.verdict),
        "reason": text_of(judgement.reason),
        "sense": str(analysis.sense),
        "closed_v": closed.get("value"),
        "closed_u95": closed.get("u95"),
        "open_v": opened.get("value"),
        "open_u95": opened.get("u95"),
        "supply_v": plain(float(analysis.supply_v)),
        "strokes": len(analysis.strokes),
        "n_events": len(analysis.events),
        "quantities": quantities,
        "margins": [_stored_margin(plain(m)) for m in judgement.margins],
        "findings": plain(judgement.findings),
        "versions": plain(outcome.versions),
    }
    digest = digest_of({key: row[key] for key in DECIDED})
    return {**row, "digest": digest, "made_at": outcome.made_at, "current": True}
