"""Whose account a change was made by, so that a person can be forgotten whatever they were called then."""

import sqlalchemy as sa
from alembic import op

revision = "0023"
down_revision = "0022"
branch_labels = None
depends_on = None

TABLE, COLUMN, KEY = "change_set", "person_id", "fk_change_set_person_id_person"


def upgrade() -> None:
    # In SQLite a column may be added with its key; anything else would make the history's table anew.
    op.execute(f"ALTER TABLE {TABLE} ADD COLUMN {COLUMN} INTEGER CONSTRAINT {KEY} REFERENCES person (id)")


def downgrade() -> None:
    if op.get_bind().dialect.name != "sqlite":
        op.drop_column(TABLE, COLUMN)
        return
    last_id = op.get_bind().scalar(sa.text("select seq from sqlite_sequence where name = 'change_set'"))
    with op.batch_alter_table(TABLE, table_kwargs={"sqlite_autoincrement": True}) as table:
        table.drop_column(COLUMN)
    if last_id is not None:  # SQLite makes the table anew: an id is not given again
        made = sa.text("update sqlite_sequence set seq = :last where name = 'change_set'")
        op.get_bind().execute(made, {"last": last_id})
