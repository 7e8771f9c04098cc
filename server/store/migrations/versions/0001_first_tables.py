"""The first tables."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "studio",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("archived_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("time_zone", sa.String(length=64), nullable=False),
        sa.Column("confidence_pct", sa.Integer(), nullable=False),
        sa.Column("drops_per_ml", sa.Integer(), nullable=False),
        sa.Column("is_invented", sa.Boolean(), nullable=False),
        sa.CheckConstraint("confidence_pct between 50 and 99", name=op.f("ck_studio_confidence_pct")),
        sa.CheckConstraint("drops_per_ml between 1 and 100", name=op.f("ck_studio_drops_per_ml")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_studio")),
        sa.UniqueConstraint("uid", name=op.f("uq_studio_uid")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "change_set",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("actor", sa.String(length=120), nullable=False),
        sa.Column("label", sa.String(length=300), nullable=False),
        sa.Column("command_key", sa.String(length=64), nullable=True),
        sa.Column("location", sa.String(length=300), nullable=False),
        sa.Column("undoes_id", sa.Integer(), nullable=True),
        sa.Column("undone_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f("fk_change_set_studio_id_studio")),
        sa.ForeignKeyConstraint(["undoes_id"], ["change_set.id"], name=op.f("fk_change_set_undoes_id_change_set")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_change_set")),
        sa.UniqueConstraint("studio_id", "command_key", name=op.f("uq_change_set_studio_id_command_key")),
        sa.UniqueConstraint("uid", name=op.f("uq_change_set_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_change_set_at"), "change_set", ["at"])
    op.create_index(op.f("ix_change_set_studio_id"), "change_set", ["studio_id"])
    op.create_index(op.f("ix_change_set_undoes_id"), "change_set", ["undoes_id"])

    op.create_table(
        "medium",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("archived_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=120), nullable=False),
        sa.Column("notes", sa.String(length=4000), nullable=False),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f("fk_medium_studio_id_studio")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_medium")),
        sa.UniqueConstraint("uid", name=op.f("uq_medium_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_medium_studio_id"), "medium", ["studio_id"])

    op.create_table(
        "mix",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("archived_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=120), nullable=False),
        sa.Column("swatch", sa.String(length=7), nullable=True),
        sa.Column("notes", sa.String(length=4000), nullable=False),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f("fk_mix_studio_id_studio")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_mix")),
        sa.UniqueConstraint("uid", name=op.f("uq_mix_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_mix_studio_id"), "mix", ["studio_id"])

    op.create_table(
        "paint",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("archived_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=120), nullable=False),
        sa.Column("oil", sa.String(length=32), nullable=False),
        sa.Column("tube_ml", sa.Float(), nullable=True),
        sa.Column("left_ml", sa.Float(), nullable=True),
        sa.Column("paint_oil_g_per_100g", sa.Float(), nullable=True),
        sa.Column("rub_out_oa_g_per_100g", sa.Float(), nullable=True),
        sa.Column("density_g_cm3", sa.Float(), nullable=True),
        sa.Column("notes", sa.String(length=4000), nullable=False),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f("fk_paint_studio_id_studio")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_paint")),
        sa.UniqueConstraint("uid", name=op.f("uq_paint_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_paint_studio_id"), "paint", ["studio_id"])

    op.create_table(
        "place",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("archived_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("light", sa.String(length=16), nullable=False),
        sa.Column("light_factor", sa.Float(), nullable=True),
        sa.Column("measured", sa.Boolean(), nullable=False),
        sa.Column("temperature_c", sa.Float(), nullable=False),
        sa.Column("relative_humidity_pct", sa.Float(), nullable=False),
        sa.Column("notes", sa.String(length=4000), nullable=False),
        sa.CheckConstraint(
            "light in ('dark', 'dim', 'room', 'bright', 'sun_glass', 'number')", name=op.f("ck_place_light")
        ),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f("fk_place_studio_id_studio")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_place")),
        sa.UniqueConstraint("uid", name=op.f("uq_place_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_place_studio_id"), "place", ["studio_id"])

    op.create_table(
        "thinner",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("archived_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=120), nullable=False),
        sa.Column("solvent", sa.String(length=32), nullable=False),
        sa.Column("notes", sa.String(length=4000), nullable=False),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f("fk_thinner_studio_id_studio")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_thinner")),
        sa.UniqueConstraint("uid", name=op.f("uq_thinner_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_thinner_studio_id"), "thinner", ["studio_id"])

    op.create_table(
        "change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("change_set_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("table_name", sa.String(length=32), nullable=False),
        sa.Column("row_id", sa.Integer(), nullable=False),
        sa.Column("before", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("after", sa.JSON(none_as_null=True), nullable=True),
        sa.ForeignKeyConstraint(["change_set_id"], ["change_set.id"], name=op.f("fk_change_change_set_id_change_set")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_change")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_change_change_set_id"), "change", ["change_set_id"])
    op.create_index(op.f("ix_change_row"), "change", ["table_name", "row_id"])

    op.create_table(
        "medium_part",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("medium_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("oil", sa.String(length=32), nullable=True),
        sa.Column("solvent", sa.String(length=32), nullable=True),
        sa.Column("parts", sa.Float(), nullable=False),
        sa.Column("non_volatile", sa.Float(), nullable=True),
        sa.CheckConstraint(
            "kind in ('oil', 'solvent', 'alkyd_medium', 'wax', 'inert', 'soft_resin')", name=op.f("ck_medium_part_kind")
        ),
        sa.CheckConstraint("parts > 0", name=op.f("ck_medium_part_parts")),
        sa.ForeignKeyConstraint(["medium_id"], ["medium.id"], name=op.f("fk_medium_part_medium_id_medium")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_medium_part")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_medium_part_medium_id"), "medium_part", ["medium_id"])

    op.create_table(
        "mix_part",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("mix_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("paint_id", sa.Integer(), nullable=True),
        sa.Column("medium_id", sa.Integer(), nullable=True),
        sa.Column("thinner_id", sa.Integer(), nullable=True),
        sa.Column("parts", sa.Float(), nullable=True),
        sa.Column("metal", sa.String(length=4), nullable=True),
        sa.Column("percent_on_oil", sa.Float(), nullable=True),
        sa.Column("drops_per_10_ml", sa.Float(), nullable=True),
        sa.CheckConstraint(
            "kind in ('paint', 'medium', 'thinner', 'drier', 'clove_oil')", name=op.f("ck_mix_part_kind")
        ),
        sa.ForeignKeyConstraint(["medium_id"], ["medium.id"], name=op.f("fk_mix_part_medium_id_medium")),
        sa.ForeignKeyConstraint(["mix_id"], ["mix.id"], name=op.f("fk_mix_part_mix_id_mix")),
        sa.ForeignKeyConstraint(["paint_id"], ["paint.id"], name=op.f("fk_mix_part_paint_id_paint")),
        sa.ForeignKeyConstraint(["thinner_id"], ["thinner.id"], name=op.f("fk_mix_part_thinner_id_thinner")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_mix_part")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_mix_part_mix_id"), "mix_part", ["mix_id"])

    op.create_table(
        "paint_pigment",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("paint_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("ci_name", sa.String(length=16), nullable=False),
        sa.Column("variant", sa.String(length=64), nullable=True),
        sa.Column("share", sa.Float(), nullable=False),
        sa.CheckConstraint("share > 0 and share <= 1", name=op.f("ck_paint_pigment_share")),
        sa.ForeignKeyConstraint(["paint_id"], ["paint.id"], name=op.f("fk_paint_pigment_paint_id_paint")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_paint_pigment")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_paint_pigment_paint_id"), "paint_pigment", ["paint_id"])

    op.create_table(
        "panel",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("archived_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("title", sa.String(length=200), nullable=False),
        sa.Column("width_mm", sa.Integer(), nullable=False),
        sa.Column("height_mm", sa.Integer(), nullable=False),
        sa.Column("support", sa.String(length=32), nullable=False),
        sa.Column("ground_kind", sa.String(length=16), nullable=False),
        sa.Column("ground_surface", sa.String(length=16), nullable=False),
        sa.Column("ground_pigment", sa.String(length=16), nullable=True),
        sa.Column("ground_on", sa.Date(), nullable=True),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("due_for", sa.String(length=200), nullable=False),
        sa.Column("finished_on", sa.Date(), nullable=True),
        sa.Column("notes", sa.String(length=8000), nullable=False),
        sa.CheckConstraint(
            "ground_kind in ('acrylic', 'oil', 'glue_chalk', 'none')", name=op.f("ck_panel_ground_kind")
        ),
        sa.CheckConstraint(
            "ground_surface in ('absorbent', 'matte', 'sealed', 'gloss')", name=op.f("ck_panel_ground_surface")
        ),
        sa.CheckConstraint("width_mm > 0 and height_mm > 0", name=op.f("ck_panel_size")),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name=op.f("fk_panel_place_id_place")),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f("fk_panel_studio_id_studio")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_panel")),
        sa.UniqueConstraint("uid", name=op.f("uq_panel_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_panel_studio_id"), "panel", ["studio_id"])

    op.create_table(
        "place_month",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("month", sa.Integer(), nullable=False),
        sa.Column("temperature_c", sa.Float(), nullable=False),
        sa.Column("relative_humidity_pct", sa.Float(), nullable=False),
        sa.CheckConstraint("month between 1 and 12", name=op.f("ck_place_month_month")),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name=op.f("fk_place_month_place_id_place")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_place_month")),
        sa.UniqueConstraint("place_id", "month", name=op.f("uq_place_month_place_id_month")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_place_month_place_id"), "place_month", ["place_id"])

    op.create_table(
        "layer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("archived_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("panel_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=32), nullable=False),
        sa.Column("material", sa.String(length=24), nullable=False),
        sa.Column("thickness_preset", sa.String(length=24), nullable=True),
        sa.Column("wet_thickness_um", sa.Float(), nullable=False),
        sa.Column("texture", sa.String(length=16), nullable=False),
        sa.Column("thinner_id", sa.Integer(), nullable=True),
        sa.Column("solvent_pct", sa.Float(), nullable=False),
        sa.Column("wet_in_wet", sa.Boolean(), nullable=False),
        sa.Column("surface", sa.String(length=8), nullable=True),
        sa.Column("sitting_min", sa.Integer(), nullable=True),
        sa.Column("planned_on", sa.Date(), nullable=True),
        sa.Column("painted_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("recipe_json", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("forecast_json", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("notes", sa.String(length=4000), nullable=False),
        sa.CheckConstraint(
            "material in ('oil', 'alkyd', 'acrylic', 'retouch_varnish', 'old_painting')", name=op.f("ck_layer_material")
        ),
        sa.CheckConstraint("surface in ('matte', 'gloss')", name=op.f("ck_layer_surface")),
        sa.CheckConstraint("texture in ('smooth', 'fine_canvas', 'coarse')", name=op.f("ck_layer_texture")),
        sa.CheckConstraint("solvent_pct >= 0 and solvent_pct < 100", name=op.f("ck_layer_solvent_pct")),
        sa.CheckConstraint("wet_thickness_um > 0", name=op.f("ck_layer_wet_thickness_um")),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_layer_panel_id_panel")),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f("fk_layer_studio_id_studio")),
        sa.ForeignKeyConstraint(["thinner_id"], ["thinner.id"], name=op.f("fk_layer_thinner_id_thinner")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_layer")),
        sa.UniqueConstraint("uid", name=op.f("uq_layer_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_layer_panel_id"), "layer", ["panel_id"])
    op.create_index(op.f("ix_layer_panel_position"), "layer", ["panel_id", "position"])
    op.create_index(op.f("ix_layer_studio_id"), "layer", ["studio_id"])

    op.create_table(
        "layer_mix",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("layer_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("mix_id", sa.Integer(), nullable=False),
        sa.Column("region", sa.String(length=120), nullable=False),
        sa.Column("area_share", sa.Float(), nullable=False),
        sa.CheckConstraint("area_share > 0 and area_share <= 1", name=op.f("ck_layer_mix_area_share")),
        sa.ForeignKeyConstraint(["layer_id"], ["layer.id"], name=op.f("fk_layer_mix_layer_id_layer")),
        sa.ForeignKeyConstraint(["mix_id"], ["mix.id"], name=op.f("fk_layer_mix_mix_id_mix")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_layer_mix")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_layer_mix_layer_id"), "layer_mix", ["layer_id"])

    op.create_table(
        "touch_test",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("archived_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("layer_id", sa.Integer(), nullable=False),
        sa.Column("pressed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("stage", sa.String(length=16), nullable=False),
        sa.Column("place_on_panel", sa.String(length=120), nullable=False),
        sa.Column("note", sa.String(length=1000), nullable=False),
        sa.CheckConstraint("stage in ('wet', 'tacky', 'touch_dry', 'firm')", name=op.f("ck_touch_test_stage")),
        sa.ForeignKeyConstraint(["layer_id"], ["layer.id"], name=op.f("fk_touch_test_layer_id_layer")),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f("fk_touch_test_studio_id_studio")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_touch_test")),
        sa.UniqueConstraint("uid", name=op.f("uq_touch_test_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_touch_test_layer_id"), "touch_test", ["layer_id"])
    op.create_index(op.f("ix_touch_test_studio_id"), "touch_test", ["studio_id"])


def downgrade() -> None:
    for name in (
        "touch_test",
        "layer_mix",
        "layer",
        "place_month",
        "panel",
        "paint_pigment",
        "mix_part",
        "medium_part",
        "change",
        "thinner",
        "place",
        "paint",
        "mix",
        "medium",
        "change_set",
        "studio",
    ):
        op.drop_table(name)
