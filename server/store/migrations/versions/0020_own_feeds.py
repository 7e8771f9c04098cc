"""Calendars of one painter's own days, each with a token of its own."""

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0019"
branch_labels = None
depends_on = None

TABLE = "own_feed"
MOMENT = sa.DateTime(timezone=True)


def upgrade() -> None:
    op.create_table(
        TABLE,
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("painter", sa.String(length=120), nullable=False),
        sa.Column("label", sa.String(length=60), nullable=False),
        sa.Column("made_by_key", sa.String(length=64), nullable=True),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("last_used_on", sa.Date(), nullable=True),
        sa.Column("revoked_at", MOMENT, nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{TABLE}")),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f(f"fk_{TABLE}_studio_id_studio")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f(f"fk_{TABLE}_person_id_person")),
        sa.UniqueConstraint("uid", name=op.f(f"uq_{TABLE}_uid")),
        sa.UniqueConstraint("token_hash", name=op.f(f"uq_{TABLE}_token_hash")),
        sa.UniqueConstraint("studio_id", "made_by_key", name=op.f(f"uq_{TABLE}_studio_id_made_by_key")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f(f"ix_{TABLE}_studio_id"), TABLE, ["studio_id"])
    op.create_index(op.f(f"ix_{TABLE}_person_id"), TABLE, ["person_id"])


def downgrade() -> None:
    op.drop_table(TABLE)
