"""What a program carries that acts for a person."""

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None

TABLE = "api_token"
MOMENT = sa.DateTime(timezone=True)


def upgrade() -> None:
    op.create_table(
        TABLE,
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("label", sa.String(length=60), nullable=False),
        sa.Column("made_by_key", sa.String(length=64), nullable=True),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("expires_at", MOMENT, nullable=True),
        sa.Column("used_at", MOMENT, nullable=True),
        sa.Column("revoked_at", MOMENT, nullable=True),
        sa.CheckConstraint("role in ('owner', 'painter', 'assistant', 'viewer')", name=op.f(f"ck_{TABLE}_role")),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{TABLE}")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f(f"fk_{TABLE}_person_id_person")),
        sa.ForeignKeyConstraint(["studio_id"], ["studio.id"], name=op.f(f"fk_{TABLE}_studio_id_studio")),
        sa.UniqueConstraint("uid", name=op.f(f"uq_{TABLE}_uid")),
        sa.UniqueConstraint("token_hash", name=op.f(f"uq_{TABLE}_token_hash")),
        sa.UniqueConstraint("person_id", "made_by_key", name=op.f(f"uq_{TABLE}_person_id_made_by_key")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f(f"ix_{TABLE}_person_id"), TABLE, ["person_id"])
    op.create_index(op.f(f"ix_{TABLE}_studio_id"), TABLE, ["studio_id"])


def downgrade() -> None:
    op.drop_table(TABLE)
