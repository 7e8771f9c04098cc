"""Every table is decided: its rows leave in an archive, or they stay. A new one fails until somebody says which."""

import re

import pytest
from argon2 import PasswordHasher
from argon2.exceptions import VerifyMismatchError

from server.services.archive.contents import BLANKED, HASH_OF_NOTHING, LEAVES, STAYS, leaving
from server.store.tables import Table

# Columns whose names sound like a key to something, and that are none.
NO_SECRETS = {
    ("change_set", "command_key"),  # makes one sending of a form one change; worth nothing afterwards
    ("published_event", "when_hash"),  # tells whether an entry of a calendar moved; opens nothing
    ("published_event", "content_hash"),
}
SOUNDS_SECRET = re.compile(r"hash|token|secret|seed|password_hash|passphrase|totp|(^|_)key($|_)|(^|_)code($|_)|salt")


def test_every_table_is_decided():
    undecided = set(Table.metadata.tables) - LEAVES - STAYS
    assert not undecided, (
        f"Say in server/services/archive/contents.py whether the rows of {', '.join(sorted(undecided))} leave in an "
        "archive (LEAVES) or stay where they are (STAYS: sessions, tokens, whatever opens a door)."
    )
    assert not LEAVES & STAYS
    assert set(Table.metadata.tables) >= LEAVES | STAYS


def test_nothing_leaves_that_opens_a_door():
    for name in LEAVES:
        for column in Table.metadata.tables[name].columns:
            if SOUNDS_SECRET.search(column.name):
                assert (name, column.name) in BLANKED.keys() | NO_SECRETS, (
                    f"{name}.{column.name} would leave in an archive: put what stands in its place into BLANKED, "
                    "or say here that it opens nothing."
                )
    for name, column_name in BLANKED:
        assert column_name in Table.metadata.tables[name].columns


def test_no_row_that_leaves_must_name_one_that_stays():
    for name in LEAVES:
        for column in Table.metadata.tables[name].columns:
            for key in column.foreign_keys:
                assert column.nullable or key.column.table.name in LEAVES, f"{name}.{column.name}"


def test_parents_leave_before_their_children():
    for studio_id in (None, 1):
        seen: set[str] = set()
        for table, _ in leaving(studio_id):
            seen.add(table.name)
            for column in table.columns:
                for key in column.foreign_keys:
                    assert column.nullable or key.column.table.name in seen


def test_whoever_is_restored_has_a_password_that_nobody_can_type():
    for guess in ("", "A", "\0" * 32):
        with pytest.raises(VerifyMismatchError):  # well formed, so that signing in answers as for any wrong password
            PasswordHasher().verify(HASH_OF_NOTHING, guess)
