"""For how many days a panel may wait to share a mix: each studio's own choice, seven days where it made none."""

from alembic import op

revision = "0025"
down_revision = "0024"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # Written out: so the column brings its CHECK on either engine, and SQLite need not make the table anew.
    op.execute(
        "ALTER TABLE studio ADD COLUMN share_wait_d FLOAT DEFAULT 7 NOT NULL "
        "CONSTRAINT ck_studio_share_wait_d CHECK (share_wait_d between 0 and 60)"
    )


def downgrade() -> None:
    op.execute("ALTER TABLE studio DROP COLUMN share_wait_d")
