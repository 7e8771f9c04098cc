"""Moves of panels from place to place."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # What was a panel's one place is where it began; a panel without moves is there still.
    op.create_table(
        "panel_move",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("archived_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("panel_id", sa.Integer(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("moved_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f("fk_panel_move_studio_id_studio")),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_panel_move_panel_id_panel")),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name=op.f("fk_panel_move_place_id_place")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_panel_move")),
        sa.UniqueConstraint("uid", name=op.f("uq_panel_move_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_panel_move_studio_id"), "panel_move", ["studio_id"])
    op.create_index(op.f("ix_panel_move_panel_id"), "panel_move", ["panel_id"])


def downgrade() -> None:
    op.drop_table("panel_move")
