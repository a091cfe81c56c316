"""The tables of the records, as they are after the last migration. Times are kept as written and as seconds."""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
    false,
)

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

jobs = Table(
    "jobs",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", Text, nullable=False, unique=True),
)

sensors = Table(
    "sensors",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("label", Text, nullable=False),  # our own
    Column("part", Text, nullable=False),  # as typed
    Column("serial", Text, nullable=False),
    UniqueConstraint("label", "part", "serial"),
    Index("ix_sensors_serial", "serial"),
)

calibrations = Table(
    "trims",  # and trim_id below: as the first databases name them, so that they need no step
    metadata,
    Column("id", Integer, primary_key=True),
    Column("digest", String(64), nullable=False, unique=True),  # SHA-256 of `data`
    Column("rig_uid", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("made_at", Text, nullable=False),
    Column("data", JSON, nullable=False),
)

captures = Table(
    "captures",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("sha256", String(64), nullable=False, unique=True),  # of the file
    Column("path", Text, nullable=False),
    Column("created", Text, nullable=False),  # ISO 8601 as written in the capture
    Column("at", Float, nullable=False),  # [s] since 1970-01-01 UTC, the same moment
    Column("rig_uid", Text, nullable=False),
    Column("operator", Text, nullable=False),
    Column("hookup", Text, nullable=False),
    Column("ended", Text, nullable=False),
    Column("job_id", ForeignKey("jobs.id")),
    Column("sensor_id", ForeignKey("sensors.id")),
    Column("batch", Text, nullable=False, server_default=""),  # "" outside a series
    Column("override", Text, nullable=False, server_default=""),  # reason against the interlock; "" none
    Column("simulated", Boolean, nullable=False, server_default=false()),
    Column("task", Text, nullable=False, server_default="sweep"),  # sweep | wiggle | wiggle-far-end
    Column("notes", Text, nullable=False, server_default=""),
    Index("ix_captures_sensor_id_at", "sensor_id", "at"),
    Index("ix_captures_job_id_at", "job_id", "at"),
    Index("ix_captures_at", "at"),
    Index("ix_captures_batch_at", "batch", "at"),
)

amendments = Table(  # what was said of a capture before somebody corrected it
    "amendments",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("capture_id", ForeignKey("captures.id"), nullable=False),
    Column("at", Text, nullable=False),  # ISO 8601
    Column("by", Text, nullable=False),
    Column("field", Text, nullable=False),  # label | job | serial | part | operator | notes
    Column("before", Text, nullable=False),
    Column("after", Text, nullable=False),
    Index("ix_amendments_capture_id", "capture_id"),
)

files = Table(  # captures themselves, where the shop keeps them here
    "files",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("data", LargeBinary, nullable=False),
)

verdicts = Table(
    "verdicts",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("capture_id", ForeignKey("captures.id"), nullable=False),
    Column("digest", String(64), nullable=False),  # SHA-256 of what was decided and measured
    Column("current", Boolean, nullable=False),  # False once the capture was judged anew with another result
    Column("made_at", Text, nullable=False),
    Column("trim_id", ForeignKey("trims.id"), key="calibration_id"),
    Column("profile", Text, nullable=False),
    Column("guard_factor", Float),
    Column("verdict", Text, nullable=False),  # pass | fail | undecided
    Column("reason", Text, nullable=False),
    Column("sense", Text, nullable=False),
    Column("closed_v", Float),  # [V]
    Column("closed_u95", Float),  # [V] half-width
    Column("open_v", Float),
    Column("open_u95", Float),
    Column("supply_v", Float),
    Column("strokes", Integer, nullable=False),
    Column("n_events", Integer, nullable=False),
    Column("findings", JSON, nullable=False),
    Column("margins", JSON, nullable=False),  # long ones last: a row is read only as far as it is asked for
    Column("quantities", JSON, nullable=False),
    Column("versions", JSON, nullable=False),
    Index("ix_verdicts_capture_id_current", "capture_id", "current"),
)
