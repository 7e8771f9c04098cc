"""The history: who changed what and when, and how to take it back.

A change set is undone as a whole, by putting back what its rows were before. Records that it added are archived, not
taken away. Undoing an undo does the thing again; asking for the same twice changes nothing. Where somebody changed
one of the rows since, or the layers of a panel would no longer make sense, the undo is refused and says why. What the
program did by itself with those rows since goes with it.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, ScalarSelect, and_, exists, or_, select
from sqlmodel import Session, col

from server.services import rule_limits
from server.services.access import Actor, allow, require
from server.services.errors import NotFound, Refused
from server.services.images import BOOKKEEPING, FOLLOWED, OWNER_COLUMN, is_record, owner_of, same, sql_table
from server.services.records import check_uid, find, is_uid
from server.services.reverting import DONE_AGAIN, UNDONE, revert
from server.services.roles import TO_SEE
from server.services.unit import current_change_set
from server.store.tables import (
    Change,
    ChangeSet,
    FinishStep,
    FinishTest,
    Layer,
    Panel,
    PanelMove,
    Place,
    ReadingBatch,
    RuleLimit,
    TouchTest,
)

_SILENT = BOOKKEEPING | {"id", "uid", "created_at", "studio_id", "recipe_json", "forecast_json", "verdict_json"}
# Whole plans as they are stored: of their fields a list of what was changed tells none, and each is large.
_BY_LABEL = frozenset({"studio_plan"})
BY_ITSELF = "Found a better plan in the background"  # the label of what nobody asked for: it goes with what led to it


@dataclass(frozen=True, slots=True)
class FieldChange:
    """``before`` and ``after`` are JSON values: instants and days as ISO text."""

    name: str
    before: Any
    after: Any


@dataclass(frozen=True, slots=True)
class RowChange:
    """``what``: added, changed or removed. Fields that only the program needs are left out."""

    table: str
    row_id: int
    what: str
    fields: tuple[FieldChange, ...]


@dataclass(frozen=True, slots=True)
class HistoryEntry:
    """One thing a person did.

    ``action`` is "undo" or "redo", for the button beside it, or "" where there is none (an undo itself, which is taken
    back at the entry that it undid). ``location`` is where the thing led, "" if nowhere.
    """

    uid: str
    at: datetime
    actor: str
    label: str
    location: str
    action: str
    is_undone: bool
    rows: tuple[RowChange, ...] = ()


def recent(session: Session, actor: Actor, limit: int = 50, before_uid: str | None = None) -> list[HistoryEntry]:
    """The studio's newest entries, newest first, without their rows; ``before_uid`` asks for those before an entry."""
    allow(actor, "read", None)
    query = (
        select(ChangeSet)
        .where(
            col(ChangeSet.studio_id) == actor.studio_id,
            exists().where(col(Change.change_set_id) == col(ChangeSet.id)),
        )
        .order_by(col(ChangeSet.id).desc())
        .limit(limit)
    )
    if before_uid is not None and is_uid(before_uid):
        query = query.where(col(ChangeSet.id) < _place_of(actor, before_uid))
    return [_entry(change_set, ()) for change_set in session.scalars(query)]


def _place_of(actor: Actor, uid: str) -> ScalarSelect[int | None]:
    """Where an entry of the studio stands in its history; of another's, nothing comes before it."""
    query = select(col(ChangeSet.id)).where(col(ChangeSet.uid) == uid, col(ChangeSet.studio_id) == actor.studio_id)
    return query.scalar_subquery()


@dataclass(frozen=True, slots=True)
class Newest:
    """A part of a record's history: so many entries, the newest first, or those before the one named; ``with_rows``:
    with what changed in it."""

    limit: int = 50
    before_uid: str | None = None
    with_rows: bool = True


def entry(session: Session, actor: Actor, uid: str) -> HistoryEntry | None:
    """One entry without its rows, None when the studio has none of that uid."""
    allow(actor, "read", None)
    query = select(ChangeSet).where(col(ChangeSet.studio_id) == actor.studio_id, col(ChangeSet.uid) == uid)
    found = session.scalars(query).first() if is_uid(uid) else None
    return _entry(found, ()) if found is not None else None


def of_record(session: Session, actor: Actor, table: str, uid: str, wanted: Newest = Newest()) -> list[HistoryEntry]:
    """The entries that touched one record (``table`` as in the database: "panel", "mix"), newest first, each with
    what changed in the record and in the rows that belong to it; of a "rule" (R12) those of its limits. Raises
    ``NotFound``, and ``Forbidden`` for a kind that the role does not see.
    """
    if table == "rule":
        return of_rule(session, actor, uid, wanted)
    require(actor, TO_SEE.get(table, "look"))
    kind = FOLLOWED.get(table)
    if kind is None or not is_record(kind):
        raise NotFound
    columns = sql_table(kind).columns
    owner = columns["studio_id"] if "studio_id" in columns else columns["id"]
    record_id = session.scalars(
        select(columns["id"]).where(columns["uid"] == check_uid(uid), owner == actor.studio_id)
    ).first()
    if record_id is None:
        raise NotFound
    return _entries(session, actor, {table: {record_id}}, wanted)


def of_kind(session: Session, actor: Actor, table: str) -> list[HistoryEntry]:
    """The same for all records of one kind that the studio has, "studio" for its own settings; of plans, without what
    changed in them. Raises ``NotFound``."""
    allow(actor, "read", None)
    kind = FOLLOWED.get(table)
    if kind is None or not is_record(kind):
        raise NotFound
    columns = sql_table(kind).columns
    owner = columns["studio_id"] if "studio_id" in columns else columns["id"]
    ids = session.scalars(select(columns["id"]).where(owner == actor.studio_id))
    return _entries(session, actor, {table: set(ids)}, Newest(with_rows=table not in _BY_LABEL))


def of_rule(session: Session, actor: Actor, rule_id: str, wanted: Newest = Newest()) -> list[HistoryEntry]:
    """The same for the limits that a rule looks at. Raises ``NotFound``."""
    names = [each.name for each in rule_limits.of_rule(session, actor, rule_id)[0]]
    own = select(col(RuleLimit.id)).where(col(RuleLimit.studio_id) == actor.studio_id, col(RuleLimit.name).in_(names))
    return _entries(session, actor, {"rule_limit": set(session.scalars(own))}, wanted)


def of_readings(session: Session, actor: Actor, place_uid: str) -> list[HistoryEntry]:
    """The same for the batches of readings of a place. Raises ``NotFound``."""
    place = find(session, actor, Place, place_uid)
    batches = session.scalars(select(col(ReadingBatch.id)).where(col(ReadingBatch.place_id) == place.id))
    return _entries(session, actor, {"reading_batch": set(batches)})


def of_panel(session: Session, actor: Actor, uid: str) -> list[HistoryEntry]:
    """The same for a panel with its layers, their touch tests, its moves, and its finish. Raises ``NotFound``."""
    panel = find(session, actor, Panel, uid)
    layers = set(session.scalars(select(col(Layer.id)).where(col(Layer.panel_id) == panel.id)))
    tests = set(session.scalars(select(col(TouchTest.id)).where(col(TouchTest.layer_id).in_(layers))))
    steps = set(session.scalars(select(col(FinishStep.id)).where(col(FinishStep.panel_id) == panel.id)))
    tried = set(session.scalars(select(col(FinishTest.id)).where(col(FinishTest.panel_id) == panel.id)))
    moves = set(session.scalars(select(col(PanelMove.id)).where(col(PanelMove.panel_id) == panel.id)))
    of_it = {"panel": {panel.id}, "layer": layers, "touch_test": tests, "finish_step": steps, "finish_test": tried}
    of_it["panel_move"] = moves
    return _entries(session, actor, of_it)


def label_of(session: Session, actor: Actor, change_set_uid: str) -> str | None:
    """What an entry says was done; None when the studio has no such entry."""
    allow(actor, "read", None)
    query = select(col(ChangeSet.label)).where(
        col(ChangeSet.uid) == change_set_uid, col(ChangeSet.studio_id) == actor.studio_id
    )
    return session.scalars(query).first() if is_uid(change_set_uid) else None


def undo(session: Session, actor: Actor, change_set_uid: str) -> ChangeSet:
    """Take back a change set, or do it again when it was an undo. Needs a unit of work, whose label it sets.

    Answers the change set that was taken back or done again in the first place; its ``location`` is where to go.
    Undoing what is undone already changes nothing. Raises ``NotFound`` and, in plain words, ``Refused``.
    """
    asked = _asked_for(session, actor, change_set_uid)
    root_id = asked.undoes_id or asked.id
    lock = select(ChangeSet).where(col(ChangeSet.id) == root_id).with_for_update()
    root = session.scalars(lock.execution_options(populate_existing=True)).one()
    chain = session.scalars(
        select(ChangeSet).where(col(ChangeSet.undoes_id) == root.id).order_by(col(ChangeSet.id))
    ).all()
    # The original and every redo are "done" states, every undo an "undone" one; to undo a state is to want the other.
    is_done_state = asked is root or [link.id for link in chain].index(asked.id) % 2 == 1
    if is_done_state == (root.undone_at is not None):
        return root
    latest = chain[-1] if chain else root
    running = current_change_set(session)
    turned = UNDONE if root.undone_at is None else DONE_AGAIN
    followed = _by_itself_since(session, latest)
    rows = _changes_by_set(session, [latest, *followed])
    for one in (*followed, latest):
        revert(session, rows[one.id or 0], turned)
    running.undoes_id = root.id
    running.label = f"{'Undid' if root.undone_at is None else 'Redid'}: {root.label}"[:300]
    root.undone_at = running.at if root.undone_at is None else None
    session.flush()
    return root


def _by_itself_since(session: Session, done: ChangeSet) -> list[ChangeSet]:
    """What the program did by itself since with the rows of a change set, and with what came of them; the last first.
    Without what somebody else's change ended in between: that keeps the undo from being done."""
    rows = _rows_of(_changes_by_set(session, [done]), done)
    since = select(ChangeSet).where(
        col(ChangeSet.studio_id) == done.studio_id,
        col(ChangeSet.id) > done.id,
        col(ChangeSet.label) == BY_ITSELF,
        col(ChangeSet.undone_at).is_(None),
    )
    found: list[ChangeSet] = []
    for one in session.scalars(since.order_by(col(ChangeSet.id))).all():
        own = _rows_of(_changes_by_set(session, [one]), one)
        if own & rows:
            rows |= own
            found.append(one)
    return found[::-1]


def _rows_of(changes: Mapping[int, Sequence[Change]], one: ChangeSet) -> set[tuple[str, int]]:
    return {(change.table_name, change.row_id) for change in changes[one.id or 0]}


def take_back(session: Session, actor: Actor, change_set_uid: str, but_for: Collection[str] = ()) -> None:
    """Put back the rows of a change set as part of what the running unit does; those of the tables ``but_for`` stay.

    Nothing happens where it was undone already, or is not there any more. Raises ``Refused`` where something was
    changed since: then the unit is to be rolled back.
    """
    found = session.scalars(select(ChangeSet).where(col(ChangeSet.uid) == check_uid(change_set_uid))).first()
    if found is None or found.undone_at is not None or found.undoes_id is not None:
        return
    allow(actor, "undo", found)
    changes = _changes_by_set(session, [found])[found.id or 0]
    revert(session, [change for change in changes if change.table_name not in but_for], UNDONE)


def _asked_for(session: Session, actor: Actor, uid: str) -> ChangeSet:
    found = session.scalars(select(ChangeSet).where(col(ChangeSet.uid) == check_uid(uid))).first()
    if found is None:
        raise NotFound
    allow(actor, "undo", found)
    if found.undoes_id == found.id:
        raise Refused("What was purged is gone for good. An archive made before may still hold it.")
    return found


def redo(session: Session, actor: Actor, change_set_uid: str) -> ChangeSet:
    """Do again what was undone; nothing happens when it is not undone. Needs a unit of work, and raises as ``undo``."""
    asked = _asked_for(session, actor, change_set_uid)
    root_id = asked.undoes_id or asked.id
    latest = session.scalars(
        select(ChangeSet).where(col(ChangeSet.undoes_id) == root_id).order_by(col(ChangeSet.id).desc()).limit(1)
    ).first()
    root = session.get_one(ChangeSet, root_id)
    return root if latest is None or root.undone_at is None else undo(session, actor, latest.uid)


def _entries(
    session: Session, actor: Actor, records: Mapping[str, Collection[int | None]], wanted: Newest = Newest()
) -> list[HistoryEntry]:
    """Entries that touched one of the records, given by table and id, with what changed in these records."""
    concerned = _are(records)
    touched = exists().where(col(Change.change_set_id) == col(ChangeSet.id), concerned)
    query = select(ChangeSet).where(touched).order_by(col(ChangeSet.id).desc()).limit(wanted.limit)
    if wanted.before_uid is not None:
        query = query.where(col(ChangeSet.id) < _place_of(actor, wanted.before_uid))
    sets = session.scalars(query).all()
    rows = _changes_by_set(session, sets if wanted.with_rows else (), _are_of(records))
    return [_entry(entry, [c for c in rows.get(entry.id or 0, ()) if _concerns(c, records)]) for entry in sets]


def _are(records: Mapping[str, Collection[int | None]]) -> ColumnElement[bool]:
    """Whether a change is one of these records themselves."""
    return or_(*(and_(col(Change.table_name) == table, col(Change.row_id).in_(ids)) for table, ids in records.items()))


def _are_of(records: Mapping[str, Collection[int | None]]) -> ColumnElement[bool]:
    """Whether a change may be told with these records: it is one of them, or of a kind that is part of such."""
    parts = [table for table, column in OWNER_COLUMN.items() if column.removesuffix("_id") in records]
    return or_(_are(records), col(Change.table_name).in_(parts))


def _changes_by_set(
    session: Session, sets: Iterable[ChangeSet], wanted: ColumnElement[bool] | None = None
) -> dict[int, list[Change]]:
    rows: dict[int, list[Change]] = {change_set.id or 0: [] for change_set in sets}
    query = select(Change).where(col(Change.change_set_id).in_(rows)).order_by(col(Change.id))
    if wanted is not None:
        query = query.where(wanted)
    for change in session.scalars(query):
        rows[change.change_set_id].append(change)
    return rows


def _concerns(change: Change, records: Mapping[str, Collection[int | None]]) -> bool:
    owner = owner_of(change.table_name, change.after or change.before or {})
    table, row_id = owner or (change.table_name, change.row_id)
    return row_id in records.get(table, ())


def _entry(change_set: ChangeSet, changes: Sequence[Change]) -> HistoryEntry:
    is_undone = change_set.undone_at is not None
    action = "" if change_set.undoes_id is not None else "redo" if is_undone else "undo"
    return HistoryEntry(
        uid=change_set.uid,
        at=change_set.at,
        actor=change_set.actor,
        label=change_set.label,
        location=change_set.location,
        action=action,
        is_undone=is_undone,
        rows=tuple(_row_change(change) for change in changes if not _is_silent(change)),
    )


def _is_silent(change: Change) -> bool:
    return change.before is not None and change.after is not None and same(change.before, change.after)


def _row_change(change: Change) -> RowChange:
    before, after = change.before or {}, change.after or {}
    names = [name for name in (after or before) if name not in _SILENT]
    fields = tuple(
        FieldChange(name, before.get(name), after.get(name)) for name in names if before.get(name) != after.get(name)
    )
    what = "added" if change.before is None else "removed" if change.after is None else "changed"
    return RowChange(change.table_name, change.row_id, what, fields)
