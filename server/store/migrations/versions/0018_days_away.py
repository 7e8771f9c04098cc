"""Days away as a stretch with its end, days for everybody, and what a day off is called."""

from alembic import op

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # Written out: so SQLite need not make the table anew.
    op.execute("ALTER TABLE work_time ADD COLUMN until_on DATE")
    op.execute("ALTER TABLE work_time ADD COLUMN label VARCHAR(120) DEFAULT '' NOT NULL")


def downgrade() -> None:
    op.execute("ALTER TABLE work_time DROP COLUMN label")
    op.execute("ALTER TABLE work_time DROP COLUMN until_on")
