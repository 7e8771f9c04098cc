"""What of the database leaves in an archive. Every table is decided here; a test finds the one that is not.

The threat: an archive is carried about, mailed, kept on sticks. Whoever finds it must find no way in, so sign-ins and
the hashes of tokens stay where they are.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from sqlalchemy import ColumnElement, select
from sqlalchemy import Table as SqlTable

from server.store.tables import Table

# Leaves, row by row.
LEAVES = frozenset(
    {
        *("studio", "rule_limit", "place", "place_month", "place_off", "learning_choice"),
        *("paint", "paint_pigment", "medium", "medium_part", "thinner", "mix", "mix_part"),
        *("panel", "layer", "layer_mix", "touch_test", "finish_step", "finish_test", "sitting_end", "sitting_mix"),
        *("stack_plan", "stack_layer", "work_time", "studio_plan", "quote"),
        *("reading_batch", "reading_extent", "reading", "reading_hour", "panel_move"),
        *("change_set", "change"),
        *("person", "membership", "people_event"),
        *("share_link", "share_link_panel", "published_event"),
    }
)
# Never leaves: sessions, tokens, codes, whatever opens a door or is worthless elsewhere.
STAYS = frozenset(
    {
        "sign_in",
        "api_token",
        "invitation",
        "recovery_code",
        "console_code",
        "sign_in_try",
        "sensor_token",
        "reading_upload",
        "share_key",
        "own_feed",
        "learned_scales",  # the tests tell them again
    }
)
# Argon2id in the right form, of nothing that anybody could type: whoever is restored makes a new password.
HASH_OF_NOTHING = "$argon2id$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"
# Columns of tables that leave, whose values do not: (table, column) -> what stands in their place.
BLANKED: Mapping[tuple[str, str], Any] = {
    ("person", "password_hash"): HASH_OF_NOTHING,
    ("person", "code_seed"): None,
    ("person", "codes_since"): None,
    ("person", "code_step"): 0,
}


def leaving(studio_id: int | None) -> Iterator[tuple[SqlTable, ColumnElement[bool] | None]]:
    """The tables that leave, parents first, each with the condition its rows must meet.

    ``studio_id`` None: the whole install. Of one studio a table leaves when its rows can be told to belong to it.
    """
    scopes: dict[str, ColumnElement[bool]] = {}
    for table in Table.metadata.sorted_tables:
        if table.name not in LEAVES:
            continue
        if studio_id is None:
            yield table, None
            continue
        scope = _scope(table, studio_id, scopes)
        if scope is not None:
            scopes[table.name] = scope
            yield table, scope


def _scope(table: SqlTable, studio_id: int, scopes: Mapping[str, ColumnElement[bool]]) -> ColumnElement[bool] | None:
    """The rows of one studio. A row that must name something outside the archive cannot leave."""
    owner = None
    for column in table.columns:
        for key in column.foreign_keys:
            named = key.column.table
            if named.name == table.name:
                continue
            if named.name not in scopes:
                if not column.nullable:
                    return None
            elif owner is None and not column.nullable:
                owner = column.in_(select(key.column).where(scopes[named.name]))
    if table.name == "studio":
        return table.c.id == studio_id
    return table.c.studio_id == studio_id if "studio_id" in table.c else owner


def blanked(table: SqlTable, names: frozenset[str]) -> dict[str, Any]:
    """What stands in the columns of ``table`` that do not leave; ``names``: the tables of the archive."""
    given = {column: value for (name, column), value in BLANKED.items() if name == table.name}
    outside = {
        column.name: None
        for column in table.columns
        if column.nullable and any(key.column.table.name not in names for key in column.foreign_keys)
    }
    return outside | given
