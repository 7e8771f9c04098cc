"""What changed with people, so that it can be taken back."""

import sqlalchemy as sa
from alembic import op

revision = "0022"
down_revision = "0021"
branch_labels = None
depends_on = None

TABLE = "people_event"
COLUMNS = (("uid", 32), ("what", 16), ("subject_uid", 32), ("before", 16), ("after", 16), ("undoes_uid", 32))


def upgrade() -> None:
    for name, length in COLUMNS:
        op.add_column(TABLE, sa.Column(name, sa.String(length=length), nullable=True))
    op.create_index(op.f(f"ix_{TABLE}_uid"), TABLE, ["uid"], unique=True)


def downgrade() -> None:
    op.drop_index(op.f(f"ix_{TABLE}_uid"), TABLE)
    for name, _ in reversed(COLUMNS):
        op.drop_column(TABLE, name)
