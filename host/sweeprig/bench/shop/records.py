"""Records as text, JSON and CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sweeprig.capture.atomic import write_atomically
from sweeprig.errors import ExportError, InputError
from sweeprig.lines import Column, chosen, folded, table
from sweeprig.link.clean import clean_text
from sweeprig.records.rows import Record
from sweeprig.report.figures import on_screen

COLUMNS = (
    ("record", "id"), ("capture_sha256", "sha256"), ("captured_at", "created"), ("job", "job"),
    ("sensor_label", "label"), ("part", "part"), ("serial", "serial"), ("verdict", "verdict"),
    ("reason", "reason"), ("sense", "sense"), ("profile", "profile"), ("closed_V", "closed_v"),
    ("closed_U95_V", "closed_u95"), ("open_V", "open_v"), ("open_U95_V", "open_u95"), ("supply_V", "supply_v"),
    ("strokes_1", "strokes"), ("events_1", "n_events"), ("findings", "codes"), ("hookup", "hookup"),
    ("operator", "operator"), ("rig", "rig_uid"), ("calibration", "calibration"),
    ("calibration_made_at", "calibration_made_at"),
    ("batch", "batch"), ("ended", "ended"), ("interlock_overridden", "override"),
    ("judged_at", "judged_at"), ("capture_file", "capture_file"),
    ("kind", "task"), ("simulated", "simulated"), ("notes", "notes"),
)  # fmt: skip
NARROW = 70  # columns below which a list keeps minutes only
KINDS = {"wiggle-far-end": "wiggle, far end"}  # of captures, where the task is no word for a list
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def record_json(record: Record) -> dict[str, Any]:
    """Return one record as a JSON object; what was not measured is null, with the reason among `quantities`."""
    data = asdict(record)
    data["findings"] = list(record.findings)
    data["margins"] = list(record.margins)
    return data


def to_csv(records: Sequence[Record]) -> str:
    """Return the records as CSV (RFC 4180): one header line with units, CRLF, empty where not measured.

    A text that a spreadsheet would take for a formula has an apostrophe before it; numbers stay numbers.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([name for name, _ in COLUMNS])
    for record in records:
        values = (getattr(record, key) for _, key in COLUMNS)
        cells = [" ".join(v) if isinstance(v, tuple) else v for v in values]
        writer.writerow([_harmless(cell) if isinstance(cell, str) else cell for cell in cells])
    return out.getvalue()


def _harmless(text: str) -> str:
    """Return a text that no spreadsheet reckons with. The characters that begin a formula: OWASP, CSV Injection."""
    return f"'{text}" if text.lstrip(" \n").startswith(_FORMULA) else text


def write_export(path: Path, text: str) -> None:
    """Write an export whole or not at all. Raises ExportError."""
    from sweeprig.report.own_files import check_place

    check_place(path)
    step = "check the folder and its permissions; existing files are unchanged"
    if not path.parent.is_dir():
        raise ExportError(f"{path} cannot be written.", seen=f"no folder {path.parent}", next_step=step)
    write_atomically(path, text.encode("utf-8", "replace"), next_step=step, error=ExportError)


def verdict_named(text: str | None) -> str | None:
    """Return a verdict as records hold it, however it was typed. Raises InputError where there is none such."""
    word = None if text is None else text.strip().lower()
    if word is None:
        return None
    from sweeprig.judge.model import Verdict

    if word not in tuple(Verdict):
        raise InputError(
            "The verdict is not valid.",
            seen=str(text)[:80],
            limit=", ".join(Verdict),
            next_step="correct --verdict",
        )
    return word


def sensor_text(record: Record) -> str:
    """Return what names the sensor: label and serial number, whichever were typed."""
    return " / ".join(t for t in (record.label, record.serial) if t) or "(not named)"


def in_utc(created: str) -> str:
    """Return when a capture was made, to the second, in UTC; as it is written where it has no zone."""
    try:
        at = datetime.fromisoformat(created)
    except ValueError:
        return created[:19]
    return f"{at.astimezone(UTC) if at.tzinfo else at:%Y-%m-%dT%H:%M:%S}"


def table_lines(records: Sequence[Record], width: int = 100) -> list[str]:
    """Return one row a record under a line of headings; columns that there is no room for are named below.

    The kind stays where records of several kinds are listed: a wiggle's verdict is no sweep's.
    """
    kinds = [KINDS.get(r.task, r.task) for r in records]
    narrow = width < NARROW
    columns = [
        Column("no.", [str(r.id) for r in records], right=True),
        Column("captured (UTC)", [in_utc(r.created)[: 16 if narrow else None] for r in records]),
        Column("verdict", [r.verdict for r in records]),
        Column("kind", kinds, goes=0 if len(set(kinds)) > 1 else 3),
        Column("closed [V]", [on_screen(r.closed_v, r.closed_u95) for r in records], goes=1),
        Column("open [V]", [on_screen(r.open_v, r.open_u95) for r in records], goes=1),
        Column("job", [r.job for r in records], goes=2),
        Column("rig no. end", [r.rig_uid[-6:] for r in records], goes=4),
        Column("sensor", ["  ! ".join((sensor_text(r), *r.exceptions)) for r in records]),
    ]
    kept = {c.title for c in chosen(columns, width)}
    gone = [c.title for c in columns if c.title not in kept and any(c.cells)]
    note = [f"No room for {', '.join(gone)}: sweeprig records show NO."] if gone else []
    return [*table(columns, width), *(line for text in note for line in folded(text, width))]


def calibration_words(record: Record) -> str:
    """Return the calibration behind a record in words."""
    if record.calibration == "nominal":
        return "never calibrated: the ± comes from the tolerance of the parts"
    return f"{record.calibration or 'none'} {record.calibration_made_at}".strip()


def show_lines(record: Record, corrections: Sequence[str] = ()) -> list[str]:
    """Return one record in full, with what was corrected since below its fields."""
    r = record
    facts = {
        "record": f"{r.id} (capture {r.sha256[:12]})", "captured": r.created, "sensor": sensor_text(r),
        "part": r.part, "kind": r.task, "job": r.job, "operator": r.operator, "batch": r.batch,
        "notes": r.notes, "profile": r.profile,
        "closed [V]": on_screen(r.closed_v, r.closed_u95), "open [V]": on_screen(r.open_v, r.open_u95),
        "supply [V]": on_screen(r.supply_v), "sense": r.sense, "strokes": str(r.strokes),
        "events": str(r.n_events), "hookup": r.hookup, "rig": r.rig_uid,
        "calibration": calibration_words(r), "file": r.capture_file,
    }  # fmt: skip
    lines = [f"{r.verdict.upper()}: {r.reason}", ""]
    lines += [f"  ! {text}" for text in r.exceptions]
    lines += [f"  {name:12}{value}" for name, value in facts.items() if value]
    lines += [f"  corrected   {text}" for text in corrections]
    for f in r.findings:
        lines += ["", f"  {f['code']} - cause: {f['cause']}", f"    seen: {f['evidence']}"]
        lines += [f"    next: {f['next_step']}"]
    return lines


def wanted_changes(typed: Mapping[str, str | None]) -> dict[str, str]:
    """Return the fields that are to be corrected, cleaned. Raises InputError where none was named."""
    changes = {name: clean_text(text) for name, text in typed.items() if text is not None}
    if not changes:
        raise InputError(
            "No correction is given.",
            limit="one or more of " + ", ".join(f"--{name}" for name in typed),
            next_step='for example --label "shelf 3"; --label "" removes it',
        )
    return changes


def amended_by(named: str) -> str:
    """Return who corrects a record: as named, else the user of this computer."""
    import getpass

    try:
        return clean_text(named) or getpass.getuser()
    except (OSError, KeyError):  # no name is known to the system
        return "not named"
