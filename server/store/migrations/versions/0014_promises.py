"""What a panel's date hangs on beside its layers, and quotes."""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None

FINISHES = "finish in ('', 'temporary_varnish', 'final_varnish', 'frame', 'frame_glazed', 'wrap')"


def upgrade() -> None:
    last_id = _last_id()
    with op.batch_alter_table("panel", table_kwargs={"sqlite_autoincrement": True}) as panel:
        panel.add_column(sa.Column("weight", sa.Float(), nullable=False, server_default="1"))
        panel.add_column(sa.Column("finish", sa.String(length=24), nullable=False, server_default=""))
        panel.add_column(sa.Column("packing_d", sa.Integer(), nullable=False, server_default="1"))
        panel.add_column(sa.Column("transit_d", sa.Integer(), nullable=False, server_default="0"))
        panel.create_check_constraint(op.f("ck_panel_weight"), "weight > 0")
        panel.create_check_constraint(op.f("ck_panel_finish"), FINISHES)
    with op.batch_alter_table("panel", table_kwargs={"sqlite_autoincrement": True}) as panel:
        for name in ("weight", "finish", "packing_d", "transit_d"):
            panel.alter_column(name, server_default=None)
    if last_id is not None:  # SQLite makes the table anew: an id that was purged must not be given again
        made = sa.text("update sqlite_sequence set seq = :last where name = 'panel'")
        op.get_bind().execute(made, {"last": last_id})
    op.create_table(
        "quote",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("archived_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("title", sa.String(length=200), nullable=False),
        sa.Column("for_whom", sa.String(length=200), nullable=False),
        sa.Column("content_json", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("panel_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_quote_panel_id_panel")),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f("fk_quote_studio_id_studio")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_quote")),
        sa.UniqueConstraint("uid", name=op.f("uq_quote_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_quote_studio_id"), "quote", ["studio_id"])


def _last_id() -> int | None:
    """The highest id a panel ever had, where SQLite counts them."""
    if op.get_bind().dialect.name != "sqlite":
        return None
    found = op.get_bind().execute(sa.text("select seq from sqlite_sequence where name = 'panel'")).scalar()
    return None if found is None else int(found)


def downgrade() -> None:
    op.drop_table("quote")
    with op.batch_alter_table("panel", table_kwargs={"sqlite_autoincrement": True}) as panel:
        panel.drop_constraint(op.f("ck_panel_finish"), type_="check")
        panel.drop_constraint(op.f("ck_panel_weight"), type_="check")
        for name in ("transit_d", "packing_d", "finish", "weight"):
            panel.drop_column(name)
