"""Calendars of one's own hold on to a painter's hours, so that they follow when the painter is called otherwise."""

import sqlalchemy as sa
from alembic import op

revision = "0024"
down_revision = "0023"
branch_labels = None
depends_on = None

TABLE, COLUMN, KEY = "own_feed", "work_time_id", "fk_own_feed_work_time_id_work_time"


def upgrade() -> None:
    op.execute(f"ALTER TABLE {TABLE} ADD COLUMN {COLUMN} INTEGER CONSTRAINT {KEY} REFERENCES work_time (id)")
    op.execute(
        "UPDATE own_feed SET work_time_id = (SELECT max(line.id) FROM work_time AS line"
        " WHERE line.studio_id = own_feed.studio_id AND line.painter = own_feed.painter)"
    )


def downgrade() -> None:
    if op.get_bind().dialect.name != "sqlite":
        op.drop_column(TABLE, COLUMN)
        return
    last_id = op.get_bind().scalar(sa.text("select seq from sqlite_sequence where name = 'own_feed'"))
    with op.batch_alter_table(TABLE, table_kwargs={"sqlite_autoincrement": True}) as table:
        table.drop_column(COLUMN)
    if last_id is not None:  # SQLite makes the table anew: an id is not given again
        made = sa.text("update sqlite_sequence set seq = :last where name = 'own_feed'")
        op.get_bind().execute(made, {"last": last_id})
