"""How a studio wants quantities, days and numbers told; sizes of panels that are no whole millimetres."""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None

CHOICES = {
    "length_unit": ("cm", "in"),
    "volume_unit": ("ml", "fl_oz"),
    "temperature_unit": ("c", "f"),
    "film_unit": ("um", "mil"),
    "week_start": ("auto", "monday", "sunday", "saturday"),
    "date_order": ("auto", "dmy", "mdy", "ymd"),
    "clock": ("auto", "24", "12"),
    "decimal_mark": ("auto", "point", "comma"),
}
SIZES = ("width_mm", "height_mm")


def upgrade() -> None:
    for column, words in CHOICES.items():
        listed = ", ".join(f"'{word}'" for word in words)
        # Written out: so the column brings its CHECK on either engine, and SQLite need not make the table anew.
        op.execute(
            f"ALTER TABLE studio ADD COLUMN {column} VARCHAR(8) DEFAULT '{words[0]}' NOT NULL "
            f"CONSTRAINT ck_studio_{column} CHECK ({column} in ({listed}))"
        )
    if op.get_bind().dialect.name == "postgresql":  # SQLite keeps fractions in a column of integers
        for column in SIZES:
            op.alter_column("panel", column, type_=sa.Float(53), existing_type=sa.Integer(), existing_nullable=False)


def downgrade() -> None:
    if op.get_bind().dialect.name == "postgresql":
        for column in SIZES:
            op.alter_column("panel", column, type_=sa.Integer(), existing_type=sa.Float(53), existing_nullable=False)
    else:
        op.execute("UPDATE panel SET width_mm = round(width_mm), height_mm = round(height_mm)")
    for column in CHOICES:
        op.execute(f"ALTER TABLE studio DROP COLUMN {column}")
