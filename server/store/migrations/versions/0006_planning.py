"""Working hours and plans."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "work_time",
        *_record("work_time"),
        sa.Column("painter", sa.String(length=120), nullable=False),
        sa.Column("weekdays", sa.String(length=7), nullable=False),
        sa.Column("on_date", sa.Date(), nullable=True),
        sa.Column("rule", sa.String(length=200), nullable=False),
        sa.Column("start_min", sa.Integer(), nullable=True),
        sa.Column("end_min", sa.Integer(), nullable=True),
        sa.CheckConstraint("end_min > start_min", name=op.f("ck_work_time_minutes")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_work_time_studio_id"), "work_time", ["studio_id"])
    op.create_table(
        "studio_plan",
        *_record("studio_plan"),
        sa.Column("content_json", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("accepted_at", sa.DateTime(timezone=True), nullable=True),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_studio_plan_studio_id"), "studio_plan", ["studio_id"])


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


def downgrade() -> None:
    op.drop_table("studio_plan")
    op.drop_table("work_time")
