"""Upgrade a records database to the version of this program; safe when several programs start at once."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sweeprig.records.engine import OURS, no_records
from sweeprig.records.errors import RecordsForeignError, RecordsNewerError, RecordsWriteError

if TYPE_CHECKING:
    from alembic.config import Config
    from sqlalchemy import Connection, Engine

HEAD = "0005"  # the last step in migrations/versions; a test holds it to that
_LOCK = 0x53574550  # any number that no other program on the server takes for an advisory lock


def alembic_config() -> Config:
    """Return Alembic's configuration for the steps shipped in the package; no file, no logging."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).with_name("migrations")).replace("%", "%%"))
    return config


def version_of(connection: Connection, where: str) -> str | None:
    """Return the version of a database; None for an empty one. Creates no table.

    Raises RecordsForeignError for another program's: a server may hold others' tables beside ours, a file may not.
    """
    from sqlalchemy import inspect, text

    names = set(inspect(connection).get_table_names())
    if not (names >= OURS):
        if "alembic_version" in names or (names and connection.dialect.name == "sqlite"):
            raise RecordsForeignError(
                f"The database {where} does not hold sweeprig records.",
                seen=f"tables {', '.join(sorted(names))[:80]}",
                limit="a database made by this program, or none yet",
                next_step="name another location with --records, or: sweeprig config set records_url URL",
            )
        return None
    found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return None if found is None else str(found)


def migrate(
    engine: Engine, where: str, *, head: str = HEAD, create: bool = True, read_only: str = ""
) -> None:
    """Run the missing steps in one transaction under one lock; without `create` not the first, which makes the tables.

    `read_only`: why the database can only be read, "" where it can be written.
    Raises RecordsWriteError for an older one that can only be read, RecordsNewerError where the database's version is
    none that this program knows, RecordsMissingError, RecordsForeignError.
    """
    with engine.connect() as connection:
        found = version_of(connection, where)
    if found == head:
        return
    if found is None and not create:
        raise no_records(where)
    if read_only:
        _check_known(found, where)
        raise RecordsWriteError(
            f"The records at {where} are from an older version of this program and cannot be brought up to date.",
            seen=read_only,
            limit="a file that can be written, once",
            next_step="correct the permissions of file and folder, or copy the file and name the copy with --records",
        )
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        _lock(connection)
        _step(connection, where, head)


def _lock(connection: Connection) -> None:
    """Lock the database: SQLite holds its write lock since BEGIN IMMEDIATE, a server is asked for one."""
    if connection.dialect.name == "postgresql":
        from sqlalchemy import text

        connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})


def _step(connection: Connection, where: str, head: str) -> None:
    from alembic import command

    found = version_of(connection, where)  # another program may have been first
    _check_known(found, where)
    if found == head:
        return
    config = alembic_config()
    config.attributes["connection"] = connection
    command.upgrade(config, head)


def _check_known(found: str | None, where: str) -> None:
    """Raise RecordsNewerError for a version that this program does not know."""
    from alembic.script import ScriptDirectory

    known = {s.revision for s in ScriptDirectory.from_config(alembic_config()).walk_revisions()}
    if found is not None and found not in known:
        raise RecordsNewerError(
            f"The records at {where} are from a newer version of this program.",
            seen=f"version {found}",
            limit=f"at most {HEAD}",
            next_step="update sweeprig on this computer: pip install --upgrade sweeprig",
        )
