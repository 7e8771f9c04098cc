"""The finish of a panel with its tests, reasons for going against the rules, ends of sittings, the region pressed."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("layer", sa.Column("verdict_json", sa.JSON(none_as_null=True), nullable=True))
    op.add_column("layer", sa.Column("override_reason", sa.String(length=1000), nullable=False, server_default=""))
    op.add_column("touch_test", sa.Column("region", sa.String(length=120), nullable=False, server_default=""))
    op.create_table(
        "finish_step",
        *_record("finish_step"),
        sa.Column("panel_id", sa.Integer(), nullable=False),
        sa.Column("action", sa.String(length=24), nullable=False),
        sa.Column("planned_on", sa.Date(), nullable=True),
        sa.Column("done_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("transit_c", sa.Float(), nullable=True),
        sa.Column("note", sa.String(length=1000), nullable=False),
        sa.Column("verdict_json", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("override_reason", sa.String(length=1000), nullable=False),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_finish_step_panel_id_panel")),
        sa.CheckConstraint(
            "action in ('oil_out', 'temporary_varnish', 'final_varnish', 'frame', 'frame_glazed', 'wrap', 'stack', "
            "'ship')",
            name=op.f("ck_finish_step_action"),
        ),
        sa.CheckConstraint("transit_c between -60 and 80", name=op.f("ck_finish_step_transit_c")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "finish_test",
        *_record("finish_test"),
        sa.Column("panel_id", sa.Integer(), nullable=False),
        sa.Column("method", sa.String(length=8), nullable=False),
        sa.Column("result", sa.String(length=8), nullable=False),
        sa.Column("tested_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("place_on_panel", sa.String(length=120), nullable=False),
        sa.Column("note", sa.String(length=1000), nullable=False),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_finish_test_panel_id_panel")),
        sa.CheckConstraint("method in ('swab', 'thumb', 'nail')", name=op.f("ck_finish_test_method")),
        sa.CheckConstraint(
            "result in ('clean', 'colour', 'dull', 'no_mark', 'mark', 'no_dent', 'dent')",
            name=op.f("ck_finish_test_result"),
        ),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "sitting_end",
        *_record("sitting_end"),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("covers_to", sa.DateTime(timezone=True), nullable=False),
        sa.Column("rags", sa.String(length=8), nullable=False),
        sa.Column("brushes", sa.Boolean(), nullable=False),
        sa.Column("lids", sa.Boolean(), nullable=False),
        sa.Column("note", sa.String(length=1000), nullable=False),
        sa.CheckConstraint("rags in ('spread', 'water', 'none')", name=op.f("ck_sitting_end_rags")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "sitting_mix",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sitting_end_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("mix_id", sa.Integer(), nullable=False),
        sa.Column("left_ml", sa.Float(), nullable=True),
        sa.Column("kept_in", sa.String(length=8), nullable=False),
        sa.ForeignKeyConstraint(["mix_id"], ["mix.id"], name=op.f("fk_sitting_mix_mix_id_mix")),
        sa.ForeignKeyConstraint(
            ["sitting_end_id"], ["sitting_end.id"], name=op.f("fk_sitting_mix_sitting_end_id_sitting_end")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sitting_mix")),
        sa.CheckConstraint("kept_in in ('tray', 'sealed', 'fridge', 'freezer')", name=op.f("ck_sitting_mix_kept_in")),
        sa.CheckConstraint("left_ml >= 0", name=op.f("ck_sitting_mix_left_ml")),
        sqlite_autoincrement=True,
    )
    for table, column in (
        ("finish_step", "panel_id"),
        ("finish_step", "studio_id"),
        ("finish_test", "panel_id"),
        ("finish_test", "studio_id"),
        ("sitting_end", "covers_to"),
        ("sitting_end", "studio_id"),
        ("sitting_mix", "sitting_end_id"),
    ):
        op.create_index(op.f(f"ix_{table}_{column}"), table, [column])


def _record(table: str) -> list[sa.schema.SchemaItem]:
    """The columns that every record of a studio has."""
    return [
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("archived_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f(f"fk_{table}_studio_id_studio")),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
        sa.UniqueConstraint("uid", name=op.f(f"uq_{table}_uid")),
    ]


def downgrade() -> None:
    for table in ("sitting_mix", "sitting_end", "finish_test", "finish_step"):
        op.drop_table(table)
    op.drop_column("touch_test", "region")
    op.drop_column("layer", "override_reason")
    op.drop_column("layer", "verdict_json")
