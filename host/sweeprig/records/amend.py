"""Corrections of what was entered for a capture: the new text counts; the old is kept, with author and time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, select, update

from sweeprig.link.clean import clean_text
from sweeprig.records import rows
from sweeprig.records import schema as s
from sweeprig.records.ensure import ensure
from sweeprig.records.rows import Record

FIELDS = ("label", "job", "serial", "part", "operator", "notes")


@dataclass(frozen=True)
class Amendment:
    """One correction of one field."""

    at: str  # ISO 8601
    by: str
    field: str
    before: str
    after: str

    @property
    def line(self) -> str:
        """The correction in one line."""
        return f"{self.field}: {self.before or 'empty'} -> {self.after or 'empty'} (corrected by {self.by}, {self.at})"


def amend(
    connection: Connection, record: Record, changes: Mapping[str, str], *, by: str, at: str
) -> tuple[Amendment, ...]:
    """Store `changes` (keys of FIELDS) for a record; return those that differ from what was there."""
    now = {name: str(getattr(record, name)) for name in FIELDS}
    new = {name: rows.text_of(text) for name, text in changes.items()}
    made = tuple(Amendment(at, by, name, now[name], text) for name, text in new.items() if text != now[name])
    if made:
        _put(connection, record.id, {**now, **new})
        connection.execute(
            s.amendments.insert(),
            [{"capture_id": record.id, "at": a.at, "by": a.by, "field": a.field, "before": a.before,
              "after": a.after} for a in made],
        )  # fmt: skip
    return made


def _put(connection: Connection, number: int, named: Mapping[str, str]) -> None:
    sensor = {name: named[name] for name in ("label", "part", "serial")}
    values: dict[str, Any] = {
        "operator": named["operator"],
        "notes": named["notes"],
        "job_id": ensure(connection, s.jobs, {"name": named["job"]}, ("name",)) if named["job"] else None,
        "sensor_id": ensure(connection, s.sensors, sensor, tuple(sensor)) if any(sensor.values()) else None,
    }
    connection.execute(update(s.captures).where(s.captures.c.id == number).values(**values))


def amendments(connection: Connection, number: int) -> tuple[Amendment, ...]:
    """Return the corrections of one record, oldest first."""
    a = s.amendments.c
    found = connection.execute(
        select(a.at, a.by, a.field, a.before, a.after).where(a.capture_id == number).order_by(a.id)
    )
    return tuple(Amendment(*(clean_text(str(cell)) for cell in row)) for row in found)
