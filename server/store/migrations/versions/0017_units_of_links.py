"""How the pages of a link tell quantities."""

from alembic import op

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # Written out: so the column brings its CHECK on either engine, and SQLite need not make the table anew.
    op.execute(
        "ALTER TABLE share_link ADD COLUMN units VARCHAR(8) DEFAULT 'metric' NOT NULL "
        "CONSTRAINT ck_share_link_units CHECK (units in ('metric', 'imperial', 'studio'))"
    )


def downgrade() -> None:
    op.execute("ALTER TABLE share_link DROP COLUMN units")
