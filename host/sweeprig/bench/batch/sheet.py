"""The sheet of a batch from its records: who, for whom, by which limits, with which rig, and every sensor."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from sweeprig.analysis.model import Code
from sweeprig.bench.batch.batch import ENDS, counted, entries_of_records, summarise
from sweeprig.bench.batch.series import Entry, at_supply, last_of_each, open_before
from sweeprig.bench.batch.text import common_lines, simulated_lines
from sweeprig.bench.review.kept_profile import profile_for
from sweeprig.capture.file import read_capture
from sweeprig.capture.model import SweepSetup
from sweeprig.errors import SweeprigError
from sweeprig.judge.brief import first_of
from sweeprig.judge.profile_model import Profile, Range
from sweeprig.judge.whole import title
from sweeprig.records.rows import Record
from sweeprig.report.batch_sheet import BatchPage, batch_html
from sweeprig.report.customer import without_commands
from sweeprig.report.figures import count_of, on_screen, span_text

NEVER = "never calibrated, the tolerance of its parts counts"


def batch_sheet(name: str, records: Sequence[Record], *, workshop: str = "") -> str:
    """Return the sheet of the records of a batch, oldest first, as one page of HTML."""
    return batch_html(batch_page(name, records, workshop=workshop))


def batch_page(name: str, records: Sequence[Record], *, workshop: str = "") -> BatchPage:
    """Return the contents of the sheet of a batch."""
    entries = entries_of_records(records)
    record_of = {id(entry): record for entry, record in zip(entries, records, strict=True)}
    latest, earlier = last_of_each(counted(entries)), open_before(counted(entries))
    shown = [record_of[id(entry)] for entry in latest]
    setups = _setups(shown)
    s = summarise(name, entries)
    nominal_v = next((e.nominal_v for e in latest if e.nominal_v is not None), None)
    odd = {serial for end in s.ends for serial in end.outliers}
    return BatchPage(
        name,
        counts=f"{count_of(s.n_sensors, 'sensor')}: {s.counts}",
        taken=_days(records),
        testers=_joined(r.operator for r in shown),
        whose=_whose(shown, setups),
        heads=_heads(nominal_v),
        rows=[
            _row(
                e,
                record_of[id(e)],
                nominal_v,
                earlier=_earlier(earlier.get(e.serial, []), record_of),
                odd=e.serial in odd,
            )
            for e in latest
        ],
        note=_note(nominal_v),
        lines=[line for end in s.ends for line in common_lines(end)],
        facts=_facts(shown, setups),
        simulated=" ".join(simulated_lines(s)),
        workshop=_joined(c.workshop for c in setups.values()) or workshop,
    )


def _joined(texts: Iterable[str]) -> str:
    """Return each text once, in the order of the first."""
    return ", ".join(dict.fromkeys(text for text in texts if text))


def _setups(records: Sequence[Record]) -> dict[int, SweepSetup]:
    """Return the setups by record number, for records whose capture can still be read."""
    found = {}
    for r in records:
        with suppress(SweeprigError):
            found[r.id] = read_capture(Path(r.capture_file)).setup
    return found


def _days(records: Sequence[Record]) -> str:
    days = [r.created[:10] for r in records]
    return min(days) if min(days) == max(days) else f"{min(days)} to {max(days)}"


def _whose(records: Sequence[Record], setups: dict[int, SweepSetup]) -> tuple[str, ...]:
    named = (
        ("Customer", _joined(c.customer for c in setups.values())),
        ("Vehicle or machine", _joined(c.vehicle for c in setups.values())),
        ("Job", _joined(r.job for r in records)),
        ("Part", _joined(r.part for r in records)),
    )
    return tuple(f"{name}: {text}" for name, text in named if text)


def _heads(nominal_v: float | None) -> tuple[str, ...]:
    judged = () if nominal_v is None else tuple(f"{e} {at_supply(nominal_v)} [V]" for e in ENDS)
    return ("serial", "verdict", *(f"{e} as measured [V]" for e in ENDS), *judged, "what is wrong")


def _note(nominal_v: float | None) -> str:
    said = "\N{PLUS-MINUS SIGN}: the true value lies within this distance, 95 times out of 100."
    if nominal_v is None:
        return f"{said} The limits hold for the volts as measured."
    return f"{said} The limits hold for the volts {at_supply(nominal_v)}."


def _earlier(entries: Sequence[Entry], record_of: dict[int, Record]) -> str:
    """Return in words the earlier sweeps of a sensor that did not pass."""
    said = [(e, what_is_wrong(record_of[id(e)])) for e in entries]
    return "; ".join(
        f"sweep {e.attempt}: {e.verdict.upper()}" + (f" ({wrong})" if wrong else "") for e, wrong in said
    )


def _row(e: Entry, r: Record, nominal_v: float | None, *, earlier: str, odd: bool) -> tuple[str, ...]:
    judged: tuple[str, ...] = ()
    if nominal_v is not None:
        judged = tuple(on_screen(*e.judged(end)) if e.nominal_v == nominal_v else "-" for end in ENDS)
    measured = (on_screen(*e.measured(end)) for end in ENDS)
    wrong = "; ".join(text for text in (what_is_wrong(r, attempt=e.attempt, odd=odd), earlier) if text)
    return (e.serial, e.verdict, *measured, *judged, wrong)


def what_is_wrong(record: Record, *, attempt: int = 1, odd: bool = False) -> str:
    """Return the findings of a record in words, with their places, and remarks on its sweep."""
    said = [_finding(f) for f in record.findings if f.get("severity", "fault") != "note"]
    if not said and record.verdict != "pass":
        said = [without_commands(first_of(record.reason)).partition(". ")[0].rstrip(".")]
    said += ["outlier: unlike the others"] if odd else []
    said += [f"sweep {attempt} of this sensor"] if attempt > 1 else []
    said += [text for text in record.exceptions if text != "SIMULATED"]
    return "; ".join(dict.fromkeys(said))


def _finding(f: dict[str, Any]) -> str:
    code, where = str(f["code"]), f.get("where_percent")
    name = title(Code(code)) if code in tuple(Code) else code.replace("-", " ")
    name += " of track B" if f.get("channel") == 1 else ""
    at = span_text(tuple(where)) if where and not code.startswith(("margin-", "closed-", "open-")) else ""
    return f"{name} at {at} of travel" if at else name


def _facts(records: Sequence[Record], setups: dict[int, SweepSetup]) -> list[tuple[str, str]]:
    """Return profiles with their limits, rigs with their calibration, hookup, and which records these are."""
    out: list[tuple[str, str]] = []
    for name in dict.fromkeys(r.profile for r in records):
        out += _profile_facts(name, [setups.get(r.id) for r in records if r.profile == name])
    rigs = dict.fromkeys((r.rig_uid, r.calibration, r.calibration_made_at[:10]) for r in records)
    out += [("Rig", f"{uid or 'none: the data is not from a rig'}{_calibrated(*c)}") for uid, *c in rigs]
    out.append(("Hookup", _joined(r.hookup for r in records) or "not known"))
    ids = [r.id for r in records]
    out.append(("Records", f"no. {min(ids)}" + (f" to {max(ids)}" if max(ids) > min(ids) else "")))
    return out


def _calibrated(kind: str, made_on: str) -> str:
    if not kind:
        return ""
    return f"; {NEVER}" if kind == "nominal" else f"; calibrated {made_on or 'at an unknown date'} ({kind})"


def _profile_facts(name: str, setups: Sequence[SweepSetup | None]) -> list[tuple[str, str]]:
    """Return a profile and its limits: as a capture keeps it, else as it is today."""
    kept = next((c for c in setups if c is not None and c.profile == name and c.profile_text), None)
    try:
        profile = profile_for(kept, "as-captured")[0] if kept else profile_for(SweepSetup(), name)[0]
    except SweeprigError:
        return [("Profile", f"{name}; its limits are not known here")]
    today = "" if kept else " (as the profile is today)"
    return [("Profile", f"{name}: {profile.title}"), (f"Limits{today}", limits_text(profile))]


def limits_text(profile: Profile) -> str:
    """Return what a sensor must meet, in one line."""
    limits = profile.limits
    said = [
        f"both ends at least {limits.lower_rail.value:g} V from ground"
        f" and {limits.upper_rail.value:g} V from the supply",
        _range("closed", limits.closed),
        _range("open", limits.open),
        f"at least {limits.span.value:g} V between the ends",
        f"no dropout of {limits.dropout.value:g} % of the supply or more",
        f"at least {limits.strokes.value:g} full strokes",
    ]
    mirrored = "; for a falling signal mirrored" if limits.closed and profile.sensor.sense == "either" else ""
    return "; ".join(text for text in said if text) + mirrored


def _range(end: str, wanted: Range | None) -> str:
    return f"{end} {wanted.low:g} to {wanted.high:g} V" if wanted else f"position of the {end} end not judged"
