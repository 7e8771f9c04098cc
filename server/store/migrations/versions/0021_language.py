"""The language that a studio's pages are told in; auto: as the device asks."""

import sqlalchemy as sa
from alembic import op

revision = "0021"
down_revision = "0020"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("studio", sa.Column("language", sa.String(8), server_default="auto", nullable=False))


def downgrade() -> None:
    op.drop_column("studio", "language")
