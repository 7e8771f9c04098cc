"""What a studio chose about learning, and whether a touch test was pressed at the painter's own moment."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("touch_test", sa.Column("occasion", sa.String(length=8), nullable=False, server_default="own"))
    op.create_table(
        "learning_choice",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("archived_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("mode", sa.String(length=8), nullable=False),
        sa.Column("frozen_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("since_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("mode in ('on', 'frozen', 'off')", name=op.f("ck_learning_choice_mode")),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f("fk_learning_choice_studio_id_studio")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_learning_choice")),
        sa.UniqueConstraint("studio_id", name=op.f("uq_learning_choice_studio_id")),
        sa.UniqueConstraint("uid", name=op.f("uq_learning_choice_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_learning_choice_studio_id"), "learning_choice", ["studio_id"])


def downgrade() -> None:
    op.drop_table("learning_choice")
    op.drop_column("touch_test", "occasion")
