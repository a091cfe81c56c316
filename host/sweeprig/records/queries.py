"""Queries on the records. Each takes an open connection and returns records."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, Select, and_, func, or_, select

from sweeprig.errors import InputError
from sweeprig.link.clean import clean_text
from sweeprig.records.errors import NoRecordError
from sweeprig.records.read import records_of, whole_record
from sweeprig.records.rows import Record
from sweeprig.records.schema import calibrations, jobs, sensors
from sweeprig.records.schema import captures as c
from sweeprig.records.schema import verdicts as v

LEAST_DIGITS = 6  # of a hash, so that it is no number


def question(full: bool) -> Select[Any]:
    """Return the SELECT for whole records, or for records without margins and quantities.

    A capture's verdict is joined from the left, so that SQLite starts at the captures and their index; each capture
    has exactly one verdict in force.
    """
    long = (v.c.margins, v.c.quantities, v.c.versions, v.c.digest) if full else ()
    return (
        select(
            c.c.id, c.c.created, c.c.at.label("at_s"), c.c.rig_uid, c.c.operator, c.c.hookup, c.c.ended,
            c.c.path.label("capture_file"), c.c.sha256, c.c.batch, c.c.override, c.c.simulated, c.c.task, c.c.notes,
            jobs.c.name.label("job"), sensors.c.label,
            sensors.c.part, sensors.c.serial, v.c.verdict, v.c.reason, v.c.sense, v.c.profile, v.c.guard_factor,
            v.c.made_at.label("judged_at"), v.c.closed_v, v.c.closed_u95, v.c.open_v, v.c.open_u95, v.c.supply_v,
            v.c.strokes, v.c.n_events, v.c.findings, *long, calibrations.c.kind.label("calibration"),
            calibrations.c.made_at.label("calibration_made_at"),
        )
        .select_from(c)
        .outerjoin(v, and_(v.c.capture_id == c.c.id, v.c.current))
        .outerjoin(jobs, jobs.c.id == c.c.job_id)
        .outerjoin(sensors, sensors.c.id == c.c.sensor_id)
        .outerjoin(calibrations, calibrations.c.id == v.c.calibration_id)
    )  # fmt: skip


def sensor_ids(connection: Connection, sensor: str) -> list[int]:
    """Return the numbers of the sensors with this label or serial number."""
    sensor = clean_text(sensor)
    found = connection.execute(
        select(sensors.c.id).where(or_(sensors.c.label == sensor, sensors.c.serial == sensor))
    )
    return [int(n) for n in found.scalars()]


def find(
    connection: Connection,
    *,
    job: str | None,
    sensor: str | None,
    verdict: str | None,
    since: str | None,
    batch: str | None,
    limit: int | None,
    full: bool,
    aside: list[str],
) -> list[Record]:
    """Return records, newest first; only `full` ones hold margins and quantities. Damaged ones go into `aside`."""
    job, sensor, verdict, batch = (
        None if t is None else clean_text(t) for t in (job, sensor, verdict, batch)
    )
    query = question(full).order_by(c.c.at.desc(), c.c.id.desc()).limit(limit)
    if job is not None:
        query = query.where(jobs.c.name == job)
    if sensor is not None:
        query = query.where(c.c.sensor_id.in_(sensor_ids(connection, sensor)))
    if verdict is not None:
        query = query.where(v.c.verdict == verdict)
    if batch is not None:
        query = query.where(c.c.batch == batch)
    if since is not None:
        query = query.where(c.c.at >= moment(since))
    return records_of(connection.execute(query), aside)


def moment(text: str) -> float:
    """Return an ISO 8601 time as seconds since 1970-01-01 UTC. Raises InputError."""
    from datetime import datetime

    try:
        return datetime.fromisoformat(text).timestamp()
    except (ValueError, OverflowError, OSError) as exc:
        raise InputError(
            "The time is not valid.",
            seen=clean_text(text, 80),
            limit="ISO 8601, as 2031-03-04 or 2031-03-04T10:15:00+00:00",
            next_step="correct --since",
        ) from exc


def get(connection: Connection, key: str | int, where: str) -> Record:
    """Return the one record of a number, or of a report number or more digits of its capture's hash."""
    text = clean_text(str(key), 200).strip().lower().removeprefix("#").replace("-", "")
    hexadecimal = len(text) >= LEAST_DIGITS and all(d in "0123456789abcdef" for d in text)
    if text.isascii() and text.isdigit() and len(text) < LEAST_DIGITS + 4:
        chosen = connection.execute(question(True).where(c.c.id == int(text))).all()
        if chosen or not hexadecimal:
            return _one(chosen, text, where)
    prefix = c.c.sha256.startswith(text, autoescape=True)
    chosen = connection.execute(question(True).where(prefix).limit(2)).all() if hexadecimal else []
    return _one(chosen, text, where)


def _one(chosen: Any, text: str, where: str) -> Record:
    if len(chosen) == 1:
        return whole_record(chosen[0], where)
    raise NoRecordError(
        f"{'No record' if not chosen else 'More than one record'} at {where} matches.",
        seen=text,
        limit="a record's number, or the report number on its sheet",
        next_step="`sweeprig records list` shows the numbers",
    )


def history(
    connection: Connection, sensor: str, where: str, *, limit: int | None, full: bool, aside: list[str]
) -> list[Record]:
    """Return one sensor's records, oldest first; with `limit`, the newest of them."""
    ids = sensor_ids(connection, sensor.strip())
    query = (
        question(full)
        .where(c.c.sensor_id.in_(ids))
        .order_by(c.c.sensor_id.desc(), c.c.at.desc(), c.c.id.desc())
        .limit(limit)
    )
    if len(ids) != 1:
        query = query.order_by(None).order_by(c.c.at.desc(), c.c.id.desc())
    found = records_of(connection.execute(query), aside) if ids else []
    if not found and not aside:
        raise NoRecordError(
            f"No sensor at {where} has this label or serial number.",
            seen=clean_text(sensor, 200),
            next_step="`sweeprig records list` shows the sensors",
        )
    return found[::-1]


def count(connection: Connection) -> int:
    """Return the number of records."""
    return int(connection.execute(select(func.count()).select_from(c)).scalar_one())
