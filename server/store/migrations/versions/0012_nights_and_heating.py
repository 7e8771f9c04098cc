"""Nights of a place, and when its heating is off."""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None
NIGHT = ("night_temperature_c", "night_relative_humidity_pct")


def upgrade() -> None:
    # Empty: a night like the day, as every place was until now.
    for table in ("place", "place_month"):
        with op.batch_alter_table(table) as batch:
            for name in NIGHT:
                batch.add_column(sa.Column(name, sa.Float(), nullable=True))
    op.create_table(
        "place_off",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("weekdays", sa.String(length=7), nullable=False),
        sa.Column("start_min", sa.Integer(), nullable=True),
        sa.Column("end_min", sa.Integer(), nullable=True),
        sa.Column("from_on", sa.Date(), nullable=True),
        sa.Column("until_on", sa.Date(), nullable=True),
        sa.Column("temperature_c", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name=op.f("fk_place_off_place_id_place")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_place_off")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_place_off_place_id"), "place_off", ["place_id"])


def downgrade() -> None:
    op.drop_table("place_off")
    for table in ("place_month", "place"):
        with op.batch_alter_table(table) as batch:
            for name in NIGHT:
                batch.drop_column(name)
