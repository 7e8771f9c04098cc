"""When what is left of a tube was said: what was painted since is taken off it."""

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("paint", sa.Column("left_at", sa.DateTime(timezone=True), nullable=True))
    # It was so at the latest when the tube was changed last; nothing painted before is taken off twice.
    op.execute("UPDATE paint SET left_at = updated_at WHERE left_ml IS NOT NULL")


def downgrade() -> None:
    op.drop_column("paint", "left_at")
