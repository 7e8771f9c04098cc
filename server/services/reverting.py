"""Putting the rows of a change set back to what they were."""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import select
from sqlmodel import Session, col

from server.services import rule_limits, stack
from server.services.errors import Refused
from server.services.images import (
    FOLLOWED,
    OWNER_COLUMN,
    Image,
    image_of,
    owner_of,
    put_back,
    same,
    sql_table,
    table_name,
    values_from,
)
from server.services.records import mark_changed
from server.services.unit import moment
from server.store.tables import Change, Layer, LayerMix, Panel, Place, Record, RuleLimit, StudioRecord, Table, TouchTest

# Words for rows in a refusal.
WORDS = {
    "studio": "the studio",
    "rule_limit": "the limit",
    "place": "the place",
    "place_month": "the place",
    "place_off": "the place",
    "paint": "the paint",
    "paint_pigment": "the paint",
    "medium": "the medium",
    "medium_part": "the medium",
    "thinner": "the thinner",
    "mix": "the mix",
    "mix_part": "the mix",
    "panel": "the panel",
    "layer": "the layer",
    "layer_mix": "the layer",
    "touch_test": "the touch test",
    "finish_step": "the step of the finish",
    "finish_test": "the test of the finish",
    "sitting_end": "the end of the sitting",
    "sitting_mix": "the end of the sitting",
    "stack_plan": "the stack",
    "stack_layer": "the stack",
    "work_time": "the hours",
    "studio_plan": "the plan",
    "quote": "the quote",
    "share_link": "the link",
    "share_link_panel": "the link",
    "learning_choice": "the choice of what to learn",
    "reading_batch": "the batch of readings",
    "panel_move": "the move",
}

Key = tuple[str, int]
# What may be purged though the history names it: see services/purging_records.py.
PURGED = frozenset({"paint", "medium", "thinner", "mix", "place"})
UNDONE, DONE_AGAIN = "undone", "done again"


def revert(session: Session, changes: Sequence[Change], turned: str = UNDONE) -> None:
    """Give every row its ``before`` again: added records are archived, rows that belong to a record come and go.

    Rows that are that way already are left alone. Raises ``Refused`` when a row is neither as the change left it nor
    as it was before, when other records rest on one that would go, or when a stack of layers would not make sense.
    ``turned`` is what the painter is told that it cannot be: ``UNDONE`` or ``DONE_AGAIN``.
    """
    rows = {(c.table_name, c.row_id): _current(session, c) for c in changes}
    added = {key for key, change in zip(rows, changes, strict=True) if change.before is None}
    touched: list[Table] = [row for row in rows.values() if row is not None]
    leaving, coming, changing = [], [], []
    for change in changes:
        key = (change.table_name, change.row_id)
        row = rows[key]
        if _is_as_before(change, row):
            continue
        if not _is_as_left(change, row):
            raise Refused(f"This can no longer be {turned}: {WORDS[change.table_name]} was changed since.")
        if row is None:
            coming.append(change)
        elif change.before is not None:
            changing.append((row, change.before))
        elif isinstance(row, Record):
            _refuse_in_use(session, key, added, set(rows))
            changing.append((row, image_of(row) | {"archived_at": moment(session).isoformat()}))
        elif owner_of(change.table_name, change.after or {}) not in added:
            leaving.append(row)
    for kind, image in [*((type(row), image) for row, image in changing), *_images(coming)]:
        _refuse_purged(session, kind, image, turned)
    for row in leaving:
        session.delete(row)
    _mark_owners(session, [*map(_name_and_image, leaving), *((c.table_name, c.before or {}) for c in coming)])
    session.flush()  # first those that leave: a unique value may come back with another row
    for row, image in changing:
        put_back(row, image)
    for change in coming:
        kind = FOLLOWED[change.table_name]
        row = kind(**values_from(kind, change.before or {}))
        session.add(row)
        touched.append(row)
    session.flush()
    _check_stacks(session, touched, turned)
    _check_places(session, touched)
    _check_limits(session, touched, turned)


def _images(changes: Sequence[Change]) -> list[tuple[type[Table], Image]]:
    return [(FOLLOWED[change.table_name], change.before or {}) for change in changes]


def _refuse_purged(session: Session, kind: type[Table], image: Image, turned: str) -> None:
    """Raises ``Refused`` where the row would name a record that was taken away for ever."""
    for column in sql_table(kind).columns:
        for key in column.foreign_keys:
            named, value = key.column, image.get(column.name)
            gone = value is not None and named.table.name in PURGED
            if gone and session.execute(select(named).where(named == value)).first() is None:
                raise Refused(f"This can no longer be {turned}: it names {WORDS[named.table.name]}, which was purged.")


def _name_and_image(row: Table) -> tuple[str, Image]:
    return table_name(row), image_of(row)


def _mark_owners(session: Session, rows: Sequence[tuple[str, Image]]) -> None:
    """Let the versions of the records grow whose own rows come or go."""
    for owner in {owner_of(name, image) for name, image in rows} - {None}:
        assert owner is not None
        record = session.get_one(FOLLOWED[owner[0]], owner[1])
        assert isinstance(record, StudioRecord)
        mark_changed(session, record)


def _current(session: Session, change: Change) -> Table | None:
    kind = FOLLOWED[change.table_name]
    return session.get(kind, change.row_id, with_for_update=True, populate_existing=True)


def _is_as_left(change: Change, row: Table | None) -> bool:
    if row is None or change.after is None:
        return row is None and change.after is None
    return same(image_of(row), change.after)


def _is_as_before(change: Change, row: Table | None) -> bool:
    if row is None:
        return change.before is None
    if change.before is None:
        return isinstance(row, Record) and row.archived_at is not None and _differs_in_archiving(row, change.after)
    return same(image_of(row), change.before)


def _differs_in_archiving(row: Table, after: Image | None) -> bool:
    return after is not None and same(image_of(row) | {"archived_at": None}, after | {"archived_at": None})


def _refuse_in_use(session: Session, key: Key, added: set[Key], own: set[Key]) -> None:
    """Raises ``Refused`` when a record that is not archived, and not of the same change set, names this one. ``own``:
    the rows of the change set, which name it no more once they are put back."""
    name, row_id = key
    for other_name, kind in FOLLOWED.items():
        table = sql_table(kind)
        for column in table.columns:
            if column.key == OWNER_COLUMN.get(other_name) or not any(
                reference.column.table.name == name for reference in column.foreign_keys
            ):
                continue
            for found in session.execute(select(table).where(column == row_id)).mappings():
                user = owner_of(other_name, dict(found)) or (other_name, found["id"])
                is_put_back = (other_name, found["id"]) in own
                if user not in added and not is_put_back and _is_open(session, user):
                    user_words = WORDS[user[0]].removeprefix("the ")
                    raise Refused(f"A {user_words} needs {WORDS[name]} by now. Archive {WORDS[name]} instead.")


def _is_open(session: Session, key: Key) -> bool:
    table = sql_table(FOLLOWED[key[0]])
    query = select(table.c.id).where(table.c.id == key[1], table.c.archived_at.is_(None))
    return session.execute(query).first() is not None


def _check_stacks(session: Session, rows: Sequence[Table], turned: str) -> None:
    for panel_id in sorted(_panels_of(session, rows)):
        panel = session.get_one(Panel, panel_id)
        problem = stack.problem(session, stack.load(session, panel))
        if problem is not None:
            raise Refused(f"This cannot be {turned} as things stand. {problem}")


def _check_limits(session: Session, rows: Sequence[Table], turned: str) -> None:
    for studio_id in {row.studio_id for row in rows if isinstance(row, RuleLimit)}:
        problem = rule_limits.problem(session, studio_id)
        if problem is not None:
            raise Refused(f"This cannot be {turned} as things stand. {problem}")


def _check_places(session: Session, rows: Sequence[Table]) -> None:
    """Every panel and every mix that is tried out dries somewhere, so a studio keeps a place."""
    for studio_id in {row.studio_id for row in rows if isinstance(row, Place) and row.archived_at is not None}:
        query = select(col(Place.id)).where(col(Place.studio_id) == studio_id, col(Place.archived_at).is_(None))
        if session.scalars(query.limit(1)).first() is None:
            raise Refused("It is the only place of the studio by now. Add another one, or bring one back, first.")


def _panels_of(session: Session, rows: Sequence[Any]) -> set[int]:
    layer_ids = {row.layer_id for row in rows if isinstance(row, LayerMix | TouchTest)}
    found = {row.panel_id for row in rows if isinstance(row, Layer)}
    query = select(col(Layer.panel_id)).where(col(Layer.id).in_(layer_ids))
    return found | set(session.scalars(query))
