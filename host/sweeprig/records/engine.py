"""Where the records are and how they are opened: a SQLite file, or a PostgreSQL server named by a URL."""

from __future__ import annotations

import json
import logging
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from sweeprig.link.clean import hide_passwords
from sweeprig.records.answering import limit_waits
from sweeprig.records.errors import RecordsDriverError, RecordsMissingError, RecordsUrlError

if TYPE_CHECKING:
    from sqlalchemy import URL, Connection, Engine

FILE_NAME = "records.sqlite"
OURS = {"alembic_version", "captures"}  # tables by which a database is known to be one of records
WAIT_S = 15.0  # s; longest wait for other programs' transactions
TRY_S = 1.0  # s; of which the database itself waits so long before we try again
CONNECT_S = 5  # s; longest wait for a server to answer
_SUFFIXES = (".sqlite", ".sqlite3", ".db")


def records_url(place: str | Path) -> URL:
    """Return the URL of the records at `place`: a folder, a SQLite file or a URL. Raises RecordsUrlError."""
    from sqlalchemy import URL, make_url
    from sqlalchemy.exc import ArgumentError

    text = str(place).strip()
    if not text:
        raise RecordsUrlError("The records have no location.", next_step=_HOW)
    if "://" not in text:
        path = _expanded(text)
        file = path if path.suffix.lower() in _SUFFIXES else path / FILE_NAME
        return URL.create("sqlite", database=str(file.absolute()))
    try:
        url = make_url(text)
    except (ArgumentError, ValueError) as exc:
        raise RecordsUrlError(
            "The records URL is not valid.", seen=hide_passwords(text), next_step=_HOW
        ) from exc
    return _known(url)


_HOW = "name a folder, a file ending in .sqlite, or postgresql://user@host/database"


def _expanded(text: str) -> Path:
    try:
        return Path(text).expanduser()
    except RuntimeError as exc:
        raise RecordsUrlError(
            "The records location names an unknown home folder.", seen=text[:200], next_step=_HOW
        ) from exc


def _known(url: URL) -> URL:
    kind = url.get_backend_name()
    if kind == "sqlite":
        if not url.database or url.database == ":memory:":
            raise RecordsUrlError("The records URL names no file.", seen=place_text(url), next_step=_HOW)
        return url.set(drivername="sqlite")
    if "@" in (url.host or ""):
        raise RecordsUrlError(
            "The records URL has more than one @.",
            seen=f"{url.drivername}://...",
            limit="%40 for each @ in a name or a password",
            next_step=_HOW,
        )
    if kind in ("postgresql", "postgres"):
        return url.set(drivername="postgresql+psycopg")
    raise RecordsUrlError(
        "Records are kept in SQLite or PostgreSQL only.",
        seen=f"{url.drivername}://...",
        limit="sqlite:///FILE or postgresql://user@host/database",
        next_step=_HOW,
    )


def place_text(url: URL) -> str:
    """Return the place in a form that may be shown: a file's path, or the URL without its password."""
    if url.get_backend_name() == "sqlite":
        return str(url.database or "no file")
    return hide_passwords(url.set(drivername="postgresql").render_as_string(hide_password=True))


def why_read_only(url: URL) -> str:
    """Return why a SQLite file can only be read, "" where it can be written; a server says so itself.

    A change needs a journal beside the file, so its folder counts as well.
    """
    file = Path(str(url.database))
    if url.get_backend_name() != "sqlite" or not file.is_file():
        return ""
    if not _may_write(file):
        return "the file is read-only"
    return "" if _may_write(file.parent) else f"its folder {file.parent} is read-only"


def _may_write(place: Path) -> bool:
    return os.access(place, os.W_OK, effective_ids=os.access in os.supports_effective_ids)


def make_engine(url: URL, *, create: bool, wait_s: float = TRY_S, read_only: bool = False) -> Engine:
    """Return an engine that is not connected yet. Raises RecordsMissingError, RecordsDriverError."""
    if url.get_backend_name() == "sqlite":
        return _sqlite_engine(url, create=create, wait_s=wait_s, read_only=read_only)
    return _postgres_engine(url, wait_s=wait_s)


def _sqlite_engine(url: URL, *, create: bool, wait_s: float, read_only: bool) -> Engine:
    from sqlalchemy import create_engine, event

    file = Path(str(url.database))
    if not create and not file.is_file():
        raise no_records(str(file))
    if create:
        _make_folder(file)
    waits = {"timeout": wait_s, "isolation_level": None}
    opened = _reading(url) if read_only else url
    engine = create_engine(opened, connect_args=waits, json_deserializer=_json)
    event.listen(engine, "connect", lambda c, _: _sqlite_connected(c, create=create, read_only=read_only))
    event.listen(engine, "begin", _sqlite_begin)
    return engine


def _reading(url: URL) -> URL:
    """Return the URL that opens a SQLite file for reading only.

    A file in write-ahead mode wants a second file beside it even for reading: where there is none, the file is opened
    as one that nobody changes (sqlite.org/wal.html, read-only databases).
    """
    file = Path(str(url.database))
    log = file.with_name(f"{file.name}-wal")
    unchanged = {} if log.is_file() and log.stat().st_size else {"immutable": "1"}
    return url.set(database=f"file:{quote(str(file))}", query={"mode": "ro", **unchanged, "uri": "true"})


def no_records(where: str) -> RecordsMissingError:
    """Return the error for a place that holds no records yet."""
    return RecordsMissingError(
        f"There are no records at {where}.",
        next_step="the first sweep creates them; or name another location with --records",
    )


def _make_folder(file: Path) -> None:
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
    except OSError as exc:
        raise RecordsMissingError(
            f"The folder {file.parent} for the records cannot be created.",
            seen=str(exc),
            next_step="check permissions, or name another location: sweeprig config set records_url URL",
        ) from exc


def _json(text: Any) -> Any:
    """Decode a JSON cell; None where it is not JSON, which no reader of a record accepts."""
    try:
        return json.loads(text)
    except (ValueError, TypeError, RecursionError):
        return None


def _sqlite_connected(connection: Any, *, create: bool, read_only: bool) -> None:
    """Set up a connection. SQLite stores the journal mode in the file: it is set in ours only, or in a new one."""
    connection.text_factory = lambda data: data.decode("utf-8", "replace")
    cursor = connection.cursor()
    names = {name for (name,) in cursor.execute("SELECT name FROM sqlite_master")}
    if not read_only and (names >= OURS or (create and not names)):
        cursor.execute("PRAGMA journal_mode=WAL")  # readers and one writer do not stop each other
    cursor.execute("PRAGMA synchronous=FULL")  # a commit is on the disk when it returns
    cursor.execute("PRAGMA foreign_keys=ON")
    cursor.close()


def _sqlite_begin(connection: Connection) -> None:
    """Take the write lock at the beginning of a transaction: later in it SQLite cannot wait for the lock."""
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _postgres_engine(url: URL, *, wait_s: float) -> Engine:
    from sqlalchemy import create_engine, event

    options = f"-c lock_timeout={round(1000 * wait_s)}"
    try:
        arguments = {"connect_timeout": CONNECT_S, "options": options, "client_encoding": "utf8"}
        engine = create_engine(url, connect_args=arguments)
    except ImportError as exc:
        raise RecordsDriverError(
            "The PostgreSQL library is not installed.",
            seen=str(exc),
            next_step="pip install 'sweeprig[postgres]'",
        ) from exc
    logging.getLogger("psycopg").setLevel(logging.ERROR)  # of a cancelled request the command itself tells
    event.listen(engine, "connect", lambda connection, _: limit_waits(connection), insert=True)
    return engine
