"""The batch that a capture was made in."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the name of the batch; captures from before belong to none."""
    op.add_column("captures", sa.Column("batch", sa.Text, nullable=False, server_default=""))
    op.create_index("ix_captures_batch_at", "captures", ["batch", "at"])
