"""Stacks: sequences of layers to be used on panel after panel."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "stack_plan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("archived_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=120), nullable=False),
        sa.Column("notes", sa.String(length=4000), nullable=False),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f("fk_stack_plan_studio_id_studio")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stack_plan")),
        sa.UniqueConstraint("uid", name=op.f("uq_stack_plan_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_stack_plan_studio_id"), "stack_plan", ["studio_id"])
    op.create_table(
        "stack_layer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("stack_plan_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=32), nullable=False),
        sa.Column("material", sa.String(length=24), nullable=False),
        sa.Column("mix_id", sa.Integer(), nullable=True),
        sa.Column("wet_thickness_um", sa.Float(), nullable=False),
        sa.Column("solvent_pct", sa.Float(), nullable=False),
        sa.Column("advice", sa.String(length=200), nullable=False),
        sa.CheckConstraint(
            "material in ('oil', 'alkyd', 'acrylic', 'retouch_varnish', 'old_painting')",
            name=op.f("ck_stack_layer_material"),
        ),
        sa.CheckConstraint("wet_thickness_um > 0", name=op.f("ck_stack_layer_wet_thickness_um")),
        sa.CheckConstraint("solvent_pct >= 0 and solvent_pct < 100", name=op.f("ck_stack_layer_solvent_pct")),
        sa.ForeignKeyConstraint(["mix_id"], ["mix.id"], name=op.f("fk_stack_layer_mix_id_mix")),
        sa.ForeignKeyConstraint(
            ["stack_plan_id"], ["stack_plan.id"], name=op.f("fk_stack_layer_stack_plan_id_stack_plan")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stack_layer")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_stack_layer_stack_plan_id"), "stack_layer", ["stack_plan_id"])


def downgrade() -> None:
    op.drop_table("stack_layer")
    op.drop_table("stack_plan")
