"""People, their studios, and the ways they come in."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

TABLES = (
    "person",
    "membership",
    "sign_in",
    "invitation",
    "recovery_code",
    "console_code",
    "sign_in_try",
    "people_event",
)
ROLES = "role in ('owner', 'painter', 'assistant', 'viewer')"


def upgrade() -> None:
    _person_and_membership()
    _sign_in()
    _codes()
    op.create_table(
        "sign_in_try",
        *_row("sign_in_try"),
        _text("key_hash", 64),
        sa.Column("failures", sa.Integer(), nullable=False),
        _moment("last_at"),
        _unique("sign_in_try", "key_hash"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "people_event",
        *_row("people_event"),
        sa.Column("studio_id", sa.Integer(), nullable=True),
        sa.Column("person_id", sa.Integer(), nullable=True),
        _moment("at"),
        _text("actor", 120),
        _text("label", 300),
        _points_to("people_event", "studio"),
        _points_to("people_event", "person"),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_people_event_studio_id"), "people_event", ["studio_id"])
    op.create_index(op.f("ix_people_event_person_id"), "people_event", ["person_id"])


def _person_and_membership() -> None:
    op.create_table(
        "person",
        *_row("person"),
        _text("uid", 32),
        _moment("created_at"),
        _text("name", 120),
        _text("email", 254),
        _text("password_hash", 200),
        _moment("password_set_at"),
        _text("code_seed", 64, nullable=True),
        _moment("codes_since", nullable=True),
        sa.Column("code_step", sa.Integer(), nullable=False),
        _unique("person", "uid"),
        _unique("person", "email"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "membership",
        *_row("membership"),
        _text("uid", 32),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        _text("role", 16),
        _moment("since"),
        _moment("ended_at", nullable=True),
        sa.CheckConstraint(ROLES, name=op.f("ck_membership_role")),
        _points_to("membership", "person"),
        _points_to("membership", "studio"),
        _unique("membership", "uid"),
        _unique("membership", "person_id", "studio_id"),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_membership_studio_id"), "membership", ["studio_id"])


def _sign_in() -> None:
    op.create_table(
        "sign_in",
        *_row("sign_in"),
        _text("uid", 32),
        _text("token_hash", 64),
        _text("known_device_hash", 64),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("studio_id", sa.Integer(), nullable=True),
        _moment("created_at"),
        _moment("seen_at"),
        _moment("expires_at"),
        _text("device", 80),
        _moment("revoked_at", nullable=True),
        _points_to("sign_in", "person"),
        _points_to("sign_in", "studio"),
        _unique("sign_in", "uid"),
        _unique("sign_in", "token_hash"),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_sign_in_person_id"), "sign_in", ["person_id"])
    op.create_index(op.f("ix_sign_in_known_device_hash"), "sign_in", ["known_device_hash"])


def _codes() -> None:
    op.create_table(
        "invitation",
        *_row("invitation"),
        _text("uid", 32),
        _text("token_hash", 64),
        sa.Column("studio_id", sa.Integer(), nullable=False),
        _text("role", 16),
        _text("meant_for", 120),
        _text("made_by", 120),
        _text("made_by_key", 64, nullable=True),
        _moment("created_at"),
        _moment("expires_at"),
        _moment("used_at", nullable=True),
        _moment("revoked_at", nullable=True),
        sa.CheckConstraint(ROLES, name=op.f("ck_invitation_role")),
        _points_to("invitation", "studio"),
        _unique("invitation", "uid"),
        _unique("invitation", "token_hash"),
        _unique("invitation", "studio_id", "made_by_key"),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_invitation_studio_id"), "invitation", ["studio_id"])
    op.create_table(
        "recovery_code",
        *_row("recovery_code"),
        sa.Column("person_id", sa.Integer(), nullable=False),
        _text("code_hash", 64),
        _moment("used_at", nullable=True),
        _moment("replaced_at", nullable=True),
        _points_to("recovery_code", "person"),
        _unique("recovery_code", "code_hash"),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_recovery_code_person_id"), "recovery_code", ["person_id"])
    op.create_table(
        "console_code",
        *_row("console_code"),
        _text("code_hash", 64),
        _text("kind", 16),
        sa.Column("person_id", sa.Integer(), nullable=True),
        _moment("created_at"),
        _moment("expires_at"),
        _moment("used_at", nullable=True),
        sa.CheckConstraint("kind in ('first_owner', 'new_password')", name=op.f("ck_console_code_kind")),
        _points_to("console_code", "person"),
        _unique("console_code", "code_hash"),
        sqlite_autoincrement=True,
    )


def _row(table: str) -> list[sa.schema.SchemaItem]:
    return [
        sa.Column("id", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
    ]


def _text(name: str, length: int, *, nullable: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.String(length=length), nullable=nullable)


def _moment(name: str, *, nullable: bool = False) -> sa.Column:
    return sa.Column(name, sa.DateTime(timezone=True), nullable=nullable)


def _points_to(table: str, other: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([f"{other}_id"], [f"{other}.id"], name=op.f(f"fk_{table}_{other}_id_{other}"))


def _unique(table: str, *columns: str) -> sa.UniqueConstraint:
    return sa.UniqueConstraint(*columns, name=op.f(f"uq_{table}_{'_'.join(columns)}"))


def downgrade() -> None:
    for table in reversed(TABLES):
        op.drop_table(table)
