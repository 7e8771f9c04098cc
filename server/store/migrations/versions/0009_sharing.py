"""Links to the schedule, and what was published in calendars."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "share_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("archived_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=120), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("scope", sa.String(length=16), nullable=False),
        sa.Column("shows", sa.String(length=120), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("embed_origin", sa.String(length=200), nullable=False),
        sa.CheckConstraint("kind in ('page', 'feed')", name=op.f("ck_share_link_kind")),
        sa.CheckConstraint("scope in ('studio', 'panels', 'panel')", name=op.f("ck_share_link_scope")),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f("fk_share_link_studio_id_studio")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_share_link")),
        sa.UniqueConstraint("uid", name=op.f("uq_share_link_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_share_link_studio_id"), "share_link", ["studio_id"])
    op.create_table(
        "share_link_panel",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("share_link_id", sa.Integer(), nullable=False),
        sa.Column("panel_id", sa.Integer(), nullable=False),
        _to_link("share_link_panel"),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_share_link_panel_panel_id_panel")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_share_link_panel")),
        sa.UniqueConstraint("share_link_id", "panel_id", name=op.f("uq_share_link_panel_share_link_id_panel_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_share_link_panel_share_link_id"), "share_link_panel", ["share_link_id"])
    op.create_index(op.f("ix_share_link_panel_panel_id"), "share_link_panel", ["panel_id"])
    op.create_table(
        "share_key",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("share_link_id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("last_used_on", sa.Date(), nullable=True),
        _to_link("share_key"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_share_key")),
        sa.UniqueConstraint("share_link_id", name=op.f("uq_share_key_share_link_id")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_share_key_token_hash")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "published_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("event_uid", sa.String(length=64), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("when_hash", sa.String(length=64), nullable=False),
        sa.Column("content_hash", sa.String(length=64), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("cancelled_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("content_json", sa.JSON(none_as_null=True), nullable=True),
        sa.CheckConstraint("sequence >= 0", name=op.f("ck_published_event_sequence")),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f("fk_published_event_studio_id_studio")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_published_event")),
        sa.UniqueConstraint("studio_id", "event_uid", name=op.f("uq_published_event_studio_id_event_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_published_event_studio_id"), "published_event", ["studio_id"])


def _to_link(name: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["share_link_id"], ["share_link.id"], name=op.f(f"fk_{name}_share_link_id_share_link")
    )


def downgrade() -> None:
    for name in ("published_event", "share_key", "share_link_panel", "share_link"):
        op.drop_table(name)
