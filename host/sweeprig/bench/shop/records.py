"""Records as text, JSON and CSV, and how one sensor's ends move from sweep to sweep."""

from __future__ import annotations

import csv
import io
import math
import statistics
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from sweeprig.capture.atomic import write_atomically
from sweeprig.errors import ExportError, InputError
from sweeprig.judge.model import Verdict
from sweeprig.records.rows import Record
from sweeprig.report.figures import on_screen

COLUMNS = (
    ("record", "id"), ("capture_sha256", "sha256"), ("captured_at", "created"), ("job", "job"),
    ("sensor_label", "label"), ("part", "part"), ("serial", "serial"), ("verdict", "verdict"),
    ("reason", "reason"), ("sense", "sense"), ("profile", "profile"), ("closed_V", "closed_v"),
    ("closed_U95_V", "closed_u95"), ("open_V", "open_v"), ("open_U95_V", "open_u95"), ("supply_V", "supply_v"),
    ("strokes_1", "strokes"), ("events_1", "n_events"), ("findings", "codes"), ("hookup", "hookup"),
    ("operator", "operator"), ("rig", "rig_uid"), ("trim", "trim"), ("trim_made_at", "trim_made_at"),
    ("batch", "batch"), ("ended", "ended"), ("interlock_overridden", "override"),
    ("judged_at", "judged_at"), ("capture_file", "capture_file"),
)  # fmt: skip
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
    from sweeprig.report.exports import check_place

    check_place(path)
    step = "check the folder and its permissions; what was there is as it was"
    if not path.parent.is_dir():
        raise ExportError(f"{path} cannot be written.", seen=f"no folder {path.parent}", next_step=step)
    write_atomically(path, text.encode("utf-8", "replace"), next_step=step, error=ExportError)


def verdict_named(text: str | None) -> str | None:
    """Return a verdict as records hold it, however it was typed. Raises InputError where there is none such."""
    word = None if text is None else text.strip().lower()
    if word is not None and word not in tuple(Verdict):
        raise InputError(
            "There is no verdict of this name.",
            seen=str(text)[:80],
            limit=", ".join(Verdict),
            next_step="correct --verdict",
        )
    return word


def sensor_text(record: Record) -> str:
    """Return what names the sensor: label and serial number, whichever were typed."""
    return " / ".join(t for t in (record.label, record.serial) if t) or "(not named)"


def table_lines(records: Sequence[Record]) -> list[str]:
    """Return one line a record under a line of headings."""
    head = f"{'no.':>6}  {'captured':19}  {'verdict':9}  {'closed [V]':17}  {'open [V]':17}  sensor"
    lines = [head]
    for r in records:
        closed, opened = on_screen(r.closed_v, r.closed_u95), on_screen(r.open_v, r.open_u95)
        lines.append(
            f"{r.id:6d}  {r.created[:19]:19}  {r.verdict:9}  {closed:17}  {opened:17}  {sensor_text(r)}"
            + "".join(f"  ! {text}" for text in r.exceptions)
        )
    return lines


def show_lines(record: Record) -> list[str]:
    """Return one record in full."""
    r = record
    facts = {
        "record": f"{r.id} (capture {r.sha256[:12]})", "captured": r.created, "sensor": sensor_text(r),
        "part": r.part, "job": r.job, "operator": r.operator, "batch": r.batch, "profile": r.profile,
        "closed [V]": on_screen(r.closed_v, r.closed_u95), "open [V]": on_screen(r.open_v, r.open_u95),
        "supply [V]": on_screen(r.supply_v), "sense": r.sense, "strokes": str(r.strokes),
        "events": str(r.n_events), "hookup": r.hookup, "rig": r.rig_uid,
        "trim": f"{r.trim or 'none'} {r.trim_made_at}".strip(), "file": r.capture_file,
    }  # fmt: skip
    lines = [f"{r.verdict.upper()}: {r.reason}", ""]
    lines += [f"  ! {text}" for text in r.exceptions]
    lines += [f"  {name:12}{value}" for name, value in facts.items() if value]
    for f in r.findings:
        lines += ["", f"  {f['code']} - cause: {f['cause']}", f"    seen: {f['evidence']}"]
        lines += [f"    next: {f['next_step']}"]
    return lines


@dataclass(frozen=True)
class Trend:
    """How one end moved over a sensor's records. Volts; None where fewer than two records measured it."""

    end: str  # closed | open
    n: int
    mean_v: float | None
    sd_v: float | None  # standard deviation from record to record
    change_v: float | None  # last minus first
    change_u95: float | None  # both uncertainties taken as independent
    e_n: float | None  # change over its uncertainty
    slope_v_per_day: float | None  # of the least-squares line over time


def trend(records: Sequence[Record], end: str) -> Trend:
    """Return the trend of one end over records in the order of time.

    E_n = (x2 - x1)/sqrt(U1^2 + U2^2), beyond 1 in size a change (ISO/IEC 17043, ISO 13528; from memory).
    """
    seen = [r for r in records if getattr(r, f"{end}_v") is not None]
    values = [float(getattr(r, f"{end}_v")) for r in seen]
    if len(values) < 2:
        return Trend(end, len(values), values[0] if values else None, None, None, None, None, None)
    u95 = [getattr(r, f"{end}_u95") for r in (seen[0], seen[-1])]
    change = values[-1] - values[0]
    spread = math.hypot(*u95) if None not in u95 else None
    return Trend(
        end,
        len(values),
        statistics.fmean(values),
        statistics.stdev(values),
        change,
        spread,
        change / spread if spread else None,
        _slope_per_day([r.at_s for r in seen], values),
    )


def _slope_per_day(at_s: Sequence[float], values: Sequence[float]) -> float | None:
    days = [(t - at_s[0]) / 86400 for t in at_s]
    return statistics.linear_regression(days, values).slope if len(set(days)) > 1 else None


def trend_lines(trends: Sequence[Trend]) -> list[str]:
    """Return a line or two for each end."""
    lines = []
    for t in trends:
        if t.change_v is None or t.sd_v is None:
            lines.append(f"  {t.end}: measured {t.n} time{'s' if t.n != 1 else ''}, no trend")
            continue
        judged = ""
        if t.e_n is not None and t.change_u95 is not None:
            word = "a change" if abs(t.e_n) > 1 else "no change shown"
            judged = f" ± {1e3 * t.change_u95:z.1f} mV: {word} (E_n {t.e_n:+z.2f})"
        slope = "" if t.slope_v_per_day is None else f", {1e3 * t.slope_v_per_day:+z.3f} mV a day"
        lines.append(
            f"  {t.end}: {t.n} times, mean {t.mean_v:z.4f} V, standard deviation {1e3 * t.sd_v:z.1f} mV{slope};"
            f" last minus first {1e3 * t.change_v:+z.1f}{judged or ' mV'}"
        )
    return lines
