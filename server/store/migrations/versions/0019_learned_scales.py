"""The scales of learning that were learned when idle, for all processes of an install."""

import sqlalchemy as sa
from alembic import op

revision = "0019"
down_revision = "0018"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "learned_scales",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("tests", sa.Integer(), nullable=False),
        sa.Column("model", sa.String(length=16), nullable=False),
        sa.Column("scales_json", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("learned_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("claimed_by", sa.String(length=32), nullable=False),
        sa.Column("claimed_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f("fk_learned_scales_studio_id_studio")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_learned_scales")),
        sa.UniqueConstraint("studio_id", name=op.f("uq_learned_scales_studio_id")),
        sqlite_autoincrement=True,
    )


def downgrade() -> None:
    op.drop_table("learned_scales")
