"""The database of records: what was swept, which sensor, for which job, with which result."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from sweeprig.records import rows
from sweeprig.records.engine import TRY_S, make_engine, place_text, records_url, why_read_only
from sweeprig.records.errors import as_records_error, only_read
from sweeprig.records.migrate import migrate
from sweeprig.records.patience import Patience
from sweeprig.records.rows import Record

if TYPE_CHECKING:
    from sqlalchemy import Connection, Engine

    from sweeprig.judge.outcome import Outcome
    from sweeprig.records.amend import Amendment
    from sweeprig.records.wanted import Wanted

T = TypeVar("T")


class Store:
    """An open database of records. Every method is one transaction; `add` is durable when it returns."""

    def __init__(
        self, engine: Engine, where: str, patience: Patience | None = None, *, read_only: str = ""
    ) -> None:
        self.where = where  # as it may be shown
        self._read_only = read_only  # why nothing can be written; "" where it can
        self.aside: list[str] = []  # records that the last questions could not read, a line each
        self._engine = engine
        self._patience = patience or Patience()

    def add(self, outcome: Outcome, path: Path, *, batch: str = "") -> int:
        """Store the result of one capture; return the record's number.

        The file's hash identifies the capture: the same file twice is one record. If it is judged again with another
        result, the new verdict counts and the old one stays in the table. `batch` is that of a capture which has none
        yet. Raises RecordsError.
        """
        capture = rows.capture_row(outcome, path, batch)
        calibration, verdict = rows.calibration_row(outcome), rows.verdict_row(outcome)

        def put() -> int:
            with self._writing() as connection:
                return _put(connection, outcome, capture, calibration, verdict)

        return self._patience.insist(put)

    def find(
        self,
        *,
        job: str | None = None,
        sensor: str | None = None,
        verdict: str | None = None,
        since: str | None = None,
        batch: str | None = None,
        limit: int | None = None,
        full: bool = False,
    ) -> list[Record]:
        """Return records, newest first. `sensor` is a label or a serial number, `since` an ISO 8601 time.

        Only `full` records hold margins and quantities.
        """
        from sweeprig.records import queries

        wanted = {"job": job, "sensor": sensor, "verdict": verdict, "since": since, "batch": batch}
        return self._ask(lambda c, aside: queries.find(c, **wanted, limit=limit, full=full, aside=aside))

    def search(self, wanted: Wanted, *, limit: int) -> tuple[list[Record], tuple[float, int] | None]:
        """Return a page of records, newest first, and where the next page goes on. Raises InputError."""
        from sweeprig.records import search

        return self._ask(lambda c, aside: search.search(c, wanted, limit=limit, aside=aside))

    def get(self, key: str | int) -> Record:
        """Return the record of a number, or of at least 6 digits of its capture's hash. Raises NoRecordError."""
        from sweeprig.records import queries

        return self._ask(lambda c, _: queries.get(c, key, self.where))

    def history(self, sensor: str, *, limit: int | None = None, full: bool = False) -> list[Record]:
        """Return one sensor's records, oldest first; with `limit`, the newest of them. Raises NoRecordError.

        Only `full` records hold margins and quantities.
        """
        from sweeprig.records import queries

        return self._ask(
            lambda c, aside: queries.history(c, sensor, self.where, limit=limit, full=full, aside=aside)
        )

    def amend(self, key: str | int, changes: Mapping[str, str], *, by: str, at: str) -> tuple[Amendment, ...]:
        """Correct what was entered for a record's capture; the old text is kept. Raises NoRecordError."""
        from sweeprig.records import amend, queries

        def put() -> tuple[Amendment, ...]:
            with self._writing() as connection:
                record = queries.get(connection, key, self.where)
                return amend.amend(connection, record, changes, by=by, at=at)

        return self._patience.insist(put)

    def amendments(self, number: int) -> tuple[Amendment, ...]:
        """Return the corrections of one record, oldest first."""
        from sweeprig.records import amend

        return self._ask(lambda c, _: amend.amendments(c, number))

    def put_file(self, sha256: str, data: bytes) -> None:
        """Store a capture file; one that is stored already stays as it is."""
        from sweeprig.records import files

        def put() -> None:
            with self._writing() as connection:
                files.put(connection, sha256, data)

        self._patience.insist(put)

    def file(self, sha256: str) -> bytes | None:
        """Return a capture file; None where none is stored here, or where it is damaged."""
        from sweeprig.records import files

        return self._ask(lambda c, _: files.get(c, sha256))

    def count(self) -> int:
        """Return the number of records."""
        from sweeprig.records import queries

        return self._ask(lambda c, _: queries.count(c))

    def _ask(self, question: Callable[[Connection, list[str]], T]) -> T:
        def once() -> T:
            self.aside.clear()
            with self._reading() as connection:
                return question(connection, self.aside)

        return self._patience.insist(once)

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with as_records_error(self.where), self._engine.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        if self._read_only:
            raise only_read(self.where, self._read_only)
        with (
            as_records_error(self.where),
            self._engine.connect().execution_options(writes=True) as connection,
            connection.begin(),
        ):
            yield connection


@contextmanager
def open_store(
    place: str | Path, *, create: bool = True, patience: Patience | None = None
) -> Iterator[Store]:
    """Open the records at `place` (folder, SQLite file or URL), bringing them to this program's version.

    With `create` False a file that is not there raises RecordsMissingError, and one that cannot be written can be read;
    with `create` it raises RecordsWriteError. Other programs are waited for with
    `patience`, at the opening and at each question. Raises RecordsError and its kinds.
    """
    patience = patience or Patience()
    url = records_url(place)
    where = place_text(url)
    read_only = why_read_only(url)
    if read_only and create:
        raise only_read(where, read_only)
    wait_s = min(TRY_S, patience.limit_s)
    engine = make_engine(url, create=create, wait_s=wait_s, read_only=bool(read_only))

    def ready() -> None:
        with as_records_error(where):
            migrate(engine, where, create=create, read_only=read_only)

    try:
        patience.insist(ready)
        yield Store(engine, where, patience, read_only=read_only)
    finally:
        engine.dispose()


def _put(
    connection: Connection,
    outcome: Outcome,
    capture: dict[str, Any],
    calibration: dict[str, Any] | None,
    verdict: dict[str, Any],
) -> int:
    from sqlalchemy import select, update

    from sweeprig.records import schema as s
    from sweeprig.records.ensure import ensure

    setup = outcome.setup
    job, label = rows.text_of(setup.job), rows.text_of(setup.sensor_label)
    sensor = {"label": label, "part": rows.text_of(setup.part), "serial": rows.text_of(setup.serial)}
    capture["job_id"] = ensure(connection, s.jobs, {"name": job}, ("name",)) if job else None
    capture["sensor_id"] = (
        ensure(connection, s.sensors, sensor, tuple(sensor)) if any(sensor.values()) else None
    )
    verdict["calibration_id"] = (
        ensure(connection, s.calibrations, calibration, ("digest",)) if calibration else None
    )
    number = ensure(connection, s.captures, capture, ("sha256",))
    if capture["batch"]:  # one that came outside its batch joins it; none leaves one
        alone = (s.captures.c.id == number) & (s.captures.c.batch == "")
        connection.execute(update(s.captures).where(alone).values(batch=capture["batch"]))
    connection.execute(  # two programs that judge the same capture take turns here
        select(s.captures.c.id).where(s.captures.c.id == number).with_for_update()
    )
    in_force = (s.verdicts.c.capture_id == number) & s.verdicts.c.current
    known = connection.execute(select(s.verdicts.c.digest).where(in_force)).scalar()
    if known != verdict["digest"]:
        connection.execute(update(s.verdicts).where(in_force).values(current=False))
        connection.execute(s.verdicts.insert().values(capture_id=number, **verdict))
    return number
