"""The reason for which the interlock was overridden."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add the reason; of captures from before it is not known, so it is empty."""
    op.add_column("captures", sa.Column("override", sa.Text, nullable=False, server_default=""))
