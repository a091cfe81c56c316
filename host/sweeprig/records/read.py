"""Turns a row of the database into a record. A cell may hold anything, so each is checked before it is used."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

import msgspec

from sweeprig.link.clean import clean_plain, clean_text
from sweeprig.records.errors import RecordsDamagedError
from sweeprig.records.rows import DECIDED, Record, digest_of

_OF_OTHERS = (
    "job",
    "label",
    "part",
    "serial",
    "calibration",
    "calibration_made_at",
)  # "" where no such row is joined
_MOST_PATH = 1 << 15  # characters
_FORMER = {"worn-place": "worn-spot"}  # codes of findings as records made earlier have them
Number = float | None


@dataclass(frozen=True)
class _Finding:
    code: str
    cause: str
    evidence: str
    next_step: str
    severity: str = "fault"
    channel: int | None = None
    where_percent: tuple[float, float] | None = None


@dataclass(frozen=True)
class _Margin:
    end: str
    rail: str
    verdict: str
    value_v: Number = None
    measured_v: Number = None


@dataclass(frozen=True)
class _Quantity:
    value: Number
    u95: Number = None
    unit: str = ""
    reason: str = ""


@dataclass(frozen=True)
class _Shape:
    """What the rest of the program relies on in a record; other keys may be there as well."""

    verdict: Literal["pass", "fail", "undecided"]
    findings: tuple[_Finding, ...]
    margins: tuple[_Margin, ...]
    quantities: dict[str, _Quantity]


def record_of(row: Mapping[str, Any]) -> Record:
    """Return the record in one row of `queries.question`; a whole one is checked against its digest.

    Raises ValueError, which names what does not fit.
    """
    plain = {"margins": [], "quantities": {}, **clean_plain(dict(row))}
    plain |= {key: "" for key in _OF_OTHERS if plain[key] is None}
    plain["capture_file"] = clean_text(str(row["capture_file"]), _MOST_PATH)
    record = msgspec.convert(plain, Record)
    msgspec.convert(plain, _Shape)
    if "digest" in row and digest_of({key: row[key] for key in DECIDED}) != row["digest"]:
        raise ValueError("the verdict does not match its digest")
    return replace(
        record, findings=tuple(f | {"code": _FORMER.get(f["code"], f["code"])} for f in record.findings)
    )


def records_of(rows: Iterable[Any], aside: list[str]) -> list[Record]:
    """Return the records in rows; one that cannot be read is left out and listed in `aside`."""
    found = []
    for row in rows:
        try:
            found.append(record_of(row._mapping))
        except (ValueError, TypeError, RecursionError) as exc:
            aside.append(f"Record {row.id} is damaged and is left out: {exc!s:.200}. {_AGAIN}")
    return found


_AGAIN = "Its capture file is unaffected: sweeprig review FILE judges it again."


def whole_record(row: Any, where: str) -> Record:
    """Return the record in one row. Raises RecordsDamagedError where it cannot be read."""
    aside: list[str] = []
    found = records_of([row], aside)
    if not found:
        raise RecordsDamagedError(f"Record {row.id} at {where} is damaged.", seen=aside[0], next_step=_AGAIN)
    return found[0]
