"""What was doubtful about a touch test when it was entered, and whether the painter said that it is right."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("touch_test", sa.Column("doubt", sa.String(length=8), nullable=False, server_default=""))
    op.add_column("touch_test", sa.Column("is_sure", sa.Boolean(), nullable=False, server_default=sa.false()))


def downgrade() -> None:
    op.drop_column("touch_test", "is_sure")
    op.drop_column("touch_test", "doubt")
