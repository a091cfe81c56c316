"""Jobs, sensors, trims, captures, verdicts.

Written out rather than taken from schema.py: a step must stay what it was when schema.py moves on.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def _names() -> None:
    op.create_table(
        "jobs",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_jobs"),
        sa.UniqueConstraint("name", name="uq_jobs_name"),
    )
    op.create_table(
        "sensors",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("label", sa.Text, nullable=False),
        sa.Column("part", sa.Text, nullable=False),
        sa.Column("serial", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_sensors"),
        sa.UniqueConstraint("label", "part", "serial", name="uq_sensors_label_part_serial"),
    )
    op.create_index("ix_sensors_serial", "sensors", ["serial"])


def _trims() -> None:
    op.create_table(
        "trims",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("rig_uid", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("made_at", sa.Text, nullable=False),
        sa.Column("data", sa.JSON, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_trims"),
        sa.UniqueConstraint("digest", name="uq_trims_digest"),
    )


def _captures() -> None:
    op.create_table(
        "captures",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("path", sa.Text, nullable=False),
        sa.Column("created", sa.Text, nullable=False),
        sa.Column("at", sa.Float, nullable=False),
        sa.Column("rig_uid", sa.Text, nullable=False),
        sa.Column("operator", sa.Text, nullable=False),
        sa.Column("hookup", sa.Text, nullable=False),
        sa.Column("ended", sa.Text, nullable=False),
        sa.Column("job_id", sa.Integer),
        sa.Column("sensor_id", sa.Integer),
        sa.PrimaryKeyConstraint("id", name="pk_captures"),
        sa.UniqueConstraint("sha256", name="uq_captures_sha256"),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name="fk_captures_job_id"),
        sa.ForeignKeyConstraint(["sensor_id"], ["sensors.id"], name="fk_captures_sensor_id"),
    )
    op.create_index("ix_captures_sensor_id_at", "captures", ["sensor_id", "at"])
    op.create_index("ix_captures_job_id_at", "captures", ["job_id", "at"])
    op.create_index("ix_captures_at", "captures", ["at"])


def _verdicts() -> None:
    op.create_table(
        "verdicts",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("capture_id", sa.Integer, nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("current", sa.Boolean, nullable=False),
        sa.Column("made_at", sa.Text, nullable=False),
        sa.Column("trim_id", sa.Integer),
        sa.Column("profile", sa.Text, nullable=False),
        sa.Column("guard_factor", sa.Float),
        sa.Column("verdict", sa.Text, nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("sense", sa.Text, nullable=False),
        *(sa.Column(n, sa.Float) for n in ("closed_v", "closed_u95", "open_v", "open_u95", "supply_v")),
        sa.Column("strokes", sa.Integer, nullable=False),
        sa.Column("n_events", sa.Integer, nullable=False),
        *(sa.Column(n, sa.JSON, nullable=False) for n in ("findings", "margins", "quantities", "versions")),
        sa.PrimaryKeyConstraint("id", name="pk_verdicts"),
        sa.ForeignKeyConstraint(["capture_id"], ["captures.id"], name="fk_verdicts_capture_id"),
        sa.ForeignKeyConstraint(["trim_id"], ["trims.id"], name="fk_verdicts_trim_id"),
    )
    op.create_index("ix_verdicts_capture_id_current", "verdicts", ["capture_id", "current"])


def upgrade() -> None:
    """Make the tables."""
    _names()
    _trims()
    _captures()
    _verdicts()
