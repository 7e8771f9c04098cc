"""Readings of places, their hourly means, and the tokens of sensors."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "reading_batch",
        *_record("reading_batch"),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("source", sa.String(length=8), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.CheckConstraint("source in ('typed', 'file', 'sensor')", name=op.f("ck_reading_batch_source")),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name=op.f("fk_reading_batch_place_id_place")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_reading_batch_studio_id"), "reading_batch", ["studio_id"])
    op.create_index(op.f("ix_reading_batch_place_id"), "reading_batch", ["place_id"])
    op.create_table(
        "reading_extent",
        *_of_batch("reading_extent"),
        sa.Column("readings", sa.Integer(), nullable=False),
        sa.Column("first_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("known_to", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.UniqueConstraint("batch_id", name=op.f("uq_reading_extent_batch_id")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "reading",
        *_of_batch("reading"),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        *_figures(),
        sa.UniqueConstraint("batch_id", "at", name=op.f("uq_reading_batch_id_at")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "reading_hour",
        *_of_batch("reading_hour"),
        sa.Column("hour", sa.Integer(), nullable=False),
        sa.Column("readings", sa.Integer(), nullable=False),
        *_figures(),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.CheckConstraint("readings > 0", name=op.f("ck_reading_hour_readings")),
        sa.UniqueConstraint("batch_id", "hour", name=op.f("uq_reading_hour_batch_id_hour")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "reading_upload",
        *_private("reading_upload"),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("packed", sa.String(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name=op.f("fk_reading_upload_place_id_place")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_reading_upload_studio_id"), "reading_upload", ["studio_id"])
    op.create_table(
        "sensor_token",
        *_private("sensor_token"),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name=op.f("fk_sensor_token_place_id_place")),
        sa.ForeignKeyConstraint(
            ["batch_id"], ["reading_batch.id"], name=op.f("fk_sensor_token_batch_id_reading_batch")
        ),
        sa.UniqueConstraint("token_hash", name=op.f("uq_sensor_token_token_hash")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_sensor_token_studio_id"), "sensor_token", ["studio_id"])
    op.create_index(op.f("ix_sensor_token_place_id"), "sensor_token", ["place_id"])


def _record(name: str) -> list[sa.schema.SchemaItem]:
    return [
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("archived_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f(f"fk_{name}_studio_id_studio")),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{name}")),
        sa.UniqueConstraint("uid", name=op.f(f"uq_{name}_uid")),
    ]


def _private(name: str) -> list[sa.schema.SchemaItem]:
    return [
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f(f"fk_{name}_studio_id_studio")),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{name}")),
        sa.UniqueConstraint("uid", name=op.f(f"uq_{name}_uid")),
    ]


def _of_batch(name: str) -> list[sa.schema.SchemaItem]:
    return [
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["batch_id"], ["reading_batch.id"], name=op.f(f"fk_{name}_batch_id_reading_batch")),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{name}")),
    ]


def _figures() -> list[sa.schema.SchemaItem]:
    return [
        sa.Column("temperature_c", sa.Float(), nullable=False),
        sa.Column("relative_humidity_pct", sa.Float(), nullable=False),
        sa.Column("light_lx", sa.Float(), nullable=True),
    ]


def downgrade() -> None:
    for name in ("sensor_token", "reading_upload", "reading_hour", "reading", "reading_extent", "reading_batch"):
        op.drop_table(name)
