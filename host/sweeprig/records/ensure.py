"""Insert a row that must be there exactly once, even when two programs insert it at the same time."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, Table, and_, select
from sqlalchemy.dialects import postgresql, sqlite


def ensure(connection: Connection, table: Table, row: dict[str, Any], key: tuple[str, ...]) -> int:
    """Return the number of the row with this key; insert it if it is missing. Safe with two programs at once."""
    dialect: Any = postgresql if connection.dialect.name == "postgresql" else sqlite
    same = and_(*(table.c[name] == row[name] for name in key))
    found = connection.execute(select(table.c.id).where(same)).scalar()
    if found is None:
        connection.execute(dialect.insert(table).values(**row).on_conflict_do_nothing())
        found = connection.execute(select(table.c.id).where(same)).scalar_one()
    return int(found)
