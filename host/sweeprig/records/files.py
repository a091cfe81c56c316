"""Whole capture files in the database, by the digest of the file."""

from __future__ import annotations

import hashlib
from typing import Any

from sqlalchemy import Connection, select
from sqlalchemy.dialects import postgresql, sqlite

from sweeprig.records.schema import files


def put(connection: Connection, sha256: str, data: bytes) -> None:
    """Store a file; one that is stored already stays as it is."""
    dialect: Any = postgresql if connection.dialect.name == "postgresql" else sqlite
    connection.execute(dialect.insert(files).values(sha256=sha256, data=data).on_conflict_do_nothing())


def get(connection: Connection, sha256: str) -> bytes | None:
    """Return a file; None where none is stored, or where it no longer matches its digest."""
    data = connection.execute(select(files.c.data).where(files.c.sha256 == sha256)).scalar()
    return data if data is not None and hashlib.sha256(data).hexdigest() == sha256 else None
