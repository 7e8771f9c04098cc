"""Taking a panel away for ever: the one thing here that cannot be undone, and the owner's alone.

Only what is archived can be purged, and only by who types its title. The rows of the picture go, and with them what the
history kept of them before and after; an entry without content says that something was purged, when and by whom. What
others were told in their own words (a note, a plan's reason) cannot be found and stays; plans, quotes and
calendars lose the title.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from sqlalchemy import Connection, and_, delete, exists, func, or_, select, update
from sqlalchemy import Table as SqlTable
from sqlmodel import Session, col

from server.services import records
from server.services.access import Action, Actor, require
from server.services.errors import Invalid, Refused
from server.services.images import OWNER_COLUMN, sql_table
from server.services.tube_use import left_now
from server.services.unit import leave_tombstone, moment
from server.store.tables import Change, ChangeSet, Paint, Panel, PublishedEvent, Quote, StudioPlan, Table

# What belongs to a picture, from the panel outwards: (table, column that names its owner).
PARTS = (
    ("layer", "panel_id"),
    ("layer_mix", "layer_id"),
    ("touch_test", "layer_id"),
    ("finish_step", "panel_id"),
    ("finish_test", "panel_id"),
    ("panel_move", "panel_id"),
    ("quote", "panel_id"),
)
NAMELESS = "a purged panel"
Rows = dict[str, set[int]]  # table -> ids


@dataclass(frozen=True, slots=True)
class Purgeable:
    """What would go."""

    uid: str
    title: str
    layers: int
    tests: int
    changes: int


def look(session: Session, actor: Actor, uid: str) -> Purgeable:
    """What purging a panel would take away. Raises ``NotFound``, ``Forbidden``, ``Refused`` for one in use."""
    panel = _purgeable(session, actor, uid)
    rows = _rows(session.connection(), panel.id or 0)
    changes = session.execute(select(func.count()).select_from(Change).where(of_rows(rows))).scalar_one()
    tests = len(rows["touch_test"]) + len(rows["finish_test"])
    return Purgeable(panel.uid, panel.title, len(rows["layer"]), tests, changes)


def purge(session: Session, actor: Actor, uid: str, typed_title: str) -> None:
    """Take the panel, its layers and tests, and their images out of the database. Needs a unit of work.

    Raises ``NotFound``, ``Forbidden``, ``Refused``, and ``Invalid`` at ``title`` for another title.
    """
    panel = _purgeable(session, actor, uid, "hold")
    if typed_title.strip() != panel.title:
        raise Invalid.at("title", f"This is not its title. To purge it, write: {panel.title}")
    panel_id, title = panel.id or 0, panel.title
    connection = session.connection()
    rows = _rows(connection, panel_id)
    tubes = session.scalars(select(Paint).where(col(Paint.studio_id) == actor.studio_id)).all()
    left = left_now(session, actor.studio_id, tubes)
    forget_in_plans(session, actor, panel.uid, title)
    _forget_in_quotes(connection, actor.studio_id, panel.uid, title)
    _forget_in_calendars(connection, actor.studio_id, panel.uid)
    session.expunge(panel)  # what was read of it is not what is there any more
    forget(connection, rows, title)
    for name in ("share_link_panel", *(name for name, _ in reversed(PARTS)), "panel"):
        if rows.get(name):
            table = Table.metadata.tables[name]
            connection.execute(delete(table).where(table.c.id.in_(rows[name])))
    _keep_what_is_left(session, tubes, left)
    leave_tombstone(session, "panel", panel_id)


def _keep_what_is_left(session: Session, tubes: Sequence[Paint], left: Mapping[str, float]) -> None:
    """What was painted on the picture is out of the tubes still, though nothing tells of it any more."""
    for tube in tubes:
        if tube.uid in left and left_now(session, tube.studio_id, (tube,))[tube.uid] != left[tube.uid]:
            tube.left_ml, tube.left_at = left[tube.uid], moment(session)


def _purgeable(session: Session, actor: Actor, uid: str, action: Action = "read") -> Panel:
    panel = records.find(session, actor, Panel, uid, action)
    require(actor, "purge")
    if panel.archived_at is None:
        raise Refused("This panel is not archived. Only what is put away can be purged.")
    return panel


def _rows(connection: Connection, panel_id: int) -> Rows:
    """The rows of a picture. Raises ``Refused`` where anything else still names one of them."""
    rows: Rows = defaultdict(set, {"panel": {panel_id}})
    for name, owner in PARTS:
        table = Table.metadata.tables[name]
        owners = rows[owner.removesuffix("_id")]
        rows[name] |= set(connection.execute(select(table.c.id).where(table.c[owner].in_(owners))).scalars())
    for table in Table.metadata.sorted_tables:
        for column in table.columns:
            if (table.name, column.name) not in PARTS:
                for key in column.foreign_keys:
                    _check_others(connection, rows, (table, column.name), key.column.table.name)
    return rows


def _check_others(connection: Connection, rows: Rows, place: tuple[SqlTable, str], named: str) -> None:
    """Other rows that name the picture: those of a record that is closed itself leave with it."""
    table, column = place
    if not rows.get(named) or table.name == named:
        return
    for found in connection.execute(select(table).where(table.c[column].in_(rows[named]))).mappings():
        owner_column = OWNER_COLUMN.get(table.name)
        if owner_column is None or owner_column == column:
            raise Refused("Something else in the studio still names this panel, so that it cannot be purged.")
        owner = Table.metadata.tables[owner_column.removesuffix("_id")]
        closed = select(owner.c.archived_at).where(owner.c.id == found[owner_column])
        if connection.execute(closed).scalar() is None:
            raise Refused("A link still shows this panel. Revoke the link first.")
        rows[table.name].add(found["id"])


def of_rows(rows: Mapping[str, Iterable[int]]) -> Any:
    named = [
        and_(col(Change.table_name) == name, col(Change.row_id).in_(list(ids))) for name, ids in rows.items() if ids
    ]
    return or_(*named)


def forget(connection: Connection, rows: Rows, title: str) -> None:
    """Take the rows' images out of the history, and the title out of what its entries are called."""
    changes, sets = sql_table(Change), sql_table(ChangeSet)
    touched = set(connection.execute(select(changes.c.change_set_id).where(of_rows(rows))).scalars())
    connection.execute(delete(changes).where(of_rows(rows)))
    for entry in connection.execute(select(sets).where(sets.c.id.in_(touched))).mappings().all():
        is_left = connection.execute(select(exists().where(changes.c.change_set_id == entry["id"]))).scalar()
        told = {"label": entry["label"].replace(title, NAMELESS)[:300]} if is_left else {"label": "Purged"}
        connection.execute(update(sets).where(sets.c.id == entry["id"]).values(**told, location=""))


def forget_in_plans(session: Session, actor: Actor, uid: str, title: str) -> None:
    """Plans that were made tell titles: put another word there, in the plans and in their images."""
    _forget_in(session.connection(), StudioPlan, actor.studio_id, uid, partial(_without, title=title))


def _forget_in_quotes(connection: Connection, studio_id: int, uid: str, title: str) -> None:
    """A quote names other panels where it endangers them, and where their days held no more."""
    _forget_in(connection, Quote, studio_id, uid, partial(_without_others, title=title))


def _forget_in(
    connection: Connection, kind: type[StudioPlan | Quote], studio_id: int, uid: str, clean: Callable[[Any], Any]
) -> None:
    """Clean what records keep as JSON and name a uid in, and their images."""
    table, changes = sql_table(kind), sql_table(Change)
    for row in connection.execute(select(table).where(table.c.studio_id == studio_id)).mappings().all():
        if not _names(row["content_json"], uid):
            continue
        cleaned = update(table).where(table.c.id == row["id"]).values(content_json=clean(row["content_json"]))
        connection.execute(cleaned)
        images = select(changes).where(changes.c.table_name == table.name, changes.c.row_id == row["id"])
        for change in connection.execute(images).mappings().all():
            values = {
                name: {**told, "content_json": clean(told.get("content_json") or {})}
                for name in ("before", "after")
                if (told := change[name]) is not None
            }
            connection.execute(update(changes).where(changes.c.id == change["id"]).values(**values))


def _without_others(content: dict[str, Any], title: str) -> dict[str, Any]:
    """What a quote keeps, its own title as it is."""
    return {
        name: _without(told, title) if name in ("endangered", "slipping") else told for name, told in content.items()
    }


def _forget_in_calendars(connection: Connection, studio_id: int, uid: str) -> None:
    """Subscribers are told that its entries are cancelled still, by their uids and days, no longer by their words."""
    events = sql_table(PublishedEvent)
    for event in connection.execute(select(events).where(events.c.studio_id == studio_id)).mappings().all():
        told = event["content_json"]
        if told is not None and told.get("panel") == uid:
            nameless = {**told, "plain": NAMELESS.capitalize()}
            connection.execute(update(events).where(events.c.id == event["id"]).values(content_json=nameless))


def _names(content: Any, uid: str) -> bool:
    if isinstance(content, dict):
        return any(_names(each, uid) for pair in content.items() for each in pair)
    return any(_names(each, uid) for each in content) if isinstance(content, list) else content == uid


def _without(content: Any, title: str) -> Any:
    if isinstance(content, dict):
        return {name: _without(each, title) for name, each in content.items()}
    if isinstance(content, list):
        return [_without(each, title) for each in content]
    if isinstance(content, str):
        return NAMELESS if content == title else content.replace(f"“{title}”", f"“{NAMELESS}”")
    return content
