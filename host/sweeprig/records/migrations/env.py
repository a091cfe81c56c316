"""Run by Alembic inside the transaction that sweeprig.records.migrate holds."""

from __future__ import annotations

from alembic import context

context.configure(connection=context.config.attributes["connection"], transactional_ddl=True)
context.run_migrations()
