"""Limits of the rules that a studio sets for itself."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "rule_limit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("archived_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f("fk_rule_limit_studio_id_studio")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rule_limit")),
        sa.UniqueConstraint("studio_id", "name", name=op.f("uq_rule_limit_studio_id_name")),
        sa.UniqueConstraint("uid", name=op.f("uq_rule_limit_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_rule_limit_studio_id"), "rule_limit", ["studio_id"])


def downgrade() -> None:
    op.drop_table("rule_limit")
