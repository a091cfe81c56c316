"""A search among many records, a page at a time: words of a label, a serial number or a job; verdict, dates, batch."""

from __future__ import annotations

from typing import Any

from sqlalchemy import ColumnElement, Connection, and_, or_, select

from sweeprig.records.queries import moment, question
from sweeprig.records.read import records_of
from sweeprig.records.rows import Record
from sweeprig.records.schema import captures as c
from sweeprig.records.schema import jobs, sensors
from sweeprig.records.schema import verdicts as v
from sweeprig.records.wanted import PAGE, Wanted

MOST_NAMED = (
    200  # sensors or jobs that are looked up one by one; of more, the newest captures are looked through
)


def search(
    connection: Connection, wanted: Wanted, *, limit: int = PAGE, aside: list[str]
) -> tuple[list[Record], tuple[float, int] | None]:
    """Return a page of records, newest first, and where the next page begins; None where there is none.

    Raises InputError for a time that is none. Damaged records go into `aside`.
    """
    w = wanted.cleaned
    query = question(full=True).order_by(c.c.at.desc(), c.c.id.desc()).limit(limit + 1)
    for condition in _conditions(connection, w):
        query = query.where(condition)
    rows = connection.execute(query).all()
    more = len(rows) > limit
    last = rows[limit - 1] if more else None
    return records_of(rows[:limit], aside), None if last is None else (float(last.at_s), int(last.id))


def _conditions(connection: Connection, w: Wanted) -> list[ColumnElement[bool]]:
    found: list[ColumnElement[bool]] = []
    if w.words:
        found.append(_named(connection, w.words))
    if w.verdict:
        found.append(v.c.verdict == w.verdict)
    if w.batch:
        found.append(c.c.batch == w.batch)
    if w.since:
        found.append(c.c.at >= moment(w.since))
    if w.until:
        found.append(c.c.at < moment(w.until))
    if w.before is not None:
        at, number = w.before
        found.append(or_(c.c.at < at, and_(c.c.at == at, c.c.id < number)))
    return found


def _named(connection: Connection, words: str) -> ColumnElement[bool]:
    """Return the condition for captures whose sensor or job contains these words; upper and lower case are the same."""
    of_sensor = or_(
        *(column.icontains(words, autoescape=True) for column in (sensors.c.label, sensors.c.serial))
    )
    of_job = jobs.c.name.icontains(words, autoescape=True)
    return or_(
        _one_of(connection, c.c.sensor_id, select(sensors.c.id).where(of_sensor)),
        _one_of(connection, c.c.job_id, select(jobs.c.id).where(of_job)),
    )


def _one_of(connection: Connection, column: Any, ids: Any) -> ColumnElement[bool]:
    found = list(connection.execute(ids.limit(MOST_NAMED + 1)).scalars())
    chosen: ColumnElement[bool] = column.in_(found if len(found) <= MOST_NAMED else ids)
    return chosen
