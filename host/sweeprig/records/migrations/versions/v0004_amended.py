"""Whether a capture was simulated, what it was made for, its notes, and what was corrected since."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add columns and table; captures from before are known as simulated by the serial number of their rig."""
    op.add_column("captures", sa.Column("simulated", sa.Boolean, nullable=False, server_default=sa.false()))
    op.add_column("captures", sa.Column("task", sa.Text, nullable=False, server_default="sweep"))
    op.add_column("captures", sa.Column("notes", sa.Text, nullable=False, server_default=""))
    captures = sa.table("captures", sa.column("simulated", sa.Boolean), sa.column("rig_uid", sa.Text))
    op.execute(captures.update().where(captures.c.rig_uid.like("51000000%")).values(simulated=sa.true()))
    op.create_table(
        "amendments",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("capture_id", sa.Integer, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
        sa.Column("by", sa.Text, nullable=False),
        sa.Column("field", sa.Text, nullable=False),
        sa.Column("before", sa.Text, nullable=False),
        sa.Column("after", sa.Text, nullable=False),
        sa.ForeignKeyConstraint(["capture_id"], ["captures.id"], name="fk_amendments_capture_id"),
        sa.PrimaryKeyConstraint("id", name="pk_amendments"),
    )
    op.create_index("ix_amendments_capture_id", "amendments", ["capture_id"])
