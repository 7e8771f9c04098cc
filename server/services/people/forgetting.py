"""A name taken out of what the program wrote of somebody: history, hours, plans and promises, events, invitations.

Rows that say who did them by id are theirs. Older rows, and hours and plans, which are told by a name alone, are theirs
where nobody else of the studio has that name. Titles of pictures, for whom they are, and what stands between quotation
marks in an entry are the painter's words: a picture may bear the name of its sitter.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, delete, or_, select, update

from server.services.images import sql_table
from server.services.names_in_texts import exchanged, exchanged_in
from server.store.tables import Change, ChangeSet, Invitation, OwnFeed, PeopleEvent, Quote, StudioPlan, WorkTime

NAMELESS = "someone who left"
_BY_PROGRAM = re.compile(r" \([^()]*(?:\([^()]*\)[^()]*)*\)$")  # "Ana (label of a token)"


@dataclass(frozen=True, slots=True)
class Gone:
    """Whom to forget. ``own_names`` are those of ``names`` that nobody else of their studios has."""

    person_id: int
    studio_ids: frozenset[int]
    memberships: frozenset[str]
    names: frozenset[str]
    own_names: frozenset[str]


def names_of(connection: Connection, person_id: int, name: str) -> frozenset[str]:
    """The name that somebody has, and those under which they did something before."""
    sets, events = sql_table(ChangeSet), sql_table(PeopleEvent)
    did = connection.execute(select(sets.c.actor).where(sets.c.person_id == person_id).distinct()).scalars()
    own = select(events.c.actor).where(events.c.person_id == person_id, events.c.studio_id.is_(None)).distinct()
    found = {name, *did, *connection.execute(own).scalars()}
    return frozenset(_BY_PROGRAM.sub("", each) for each in found)


def sets_of(connection: Connection, gone: Gone) -> list[int]:
    """The entries of the history that tell them as who did it."""
    sets = sql_table(ChangeSet)
    query = select(sets.c.id, sets.c.actor, sets.c.person_id).where(
        or_(
            sets.c.person_id == gone.person_id,
            sets.c.person_id.is_(None) & sets.c.studio_id.in_(sorted(gone.studio_ids)),
        )
    )
    rows = connection.execute(query).all()
    return [row.id for row in rows if row.person_id is not None or _is_own(row.actor, gone)]


def forget(connection: Connection, gone: Gone) -> None:
    """Put ``NAMELESS`` where the name stands."""
    _forget_as_actor(connection, gone)
    _forget_hours(connection, gone)
    for kind in (StudioPlan, Quote):
        _forget_content(connection, kind, gone)
    _forget_events(connection, gone)
    _forget_invitations(connection, gone)


def _forget_as_actor(connection: Connection, gone: Gone) -> None:
    sets = sql_table(ChangeSet)
    for set_id in sets_of(connection, gone):
        connection.execute(update(sets).where(sets.c.id == set_id).values(actor=NAMELESS, person_id=None))


def _forget_hours(connection: Connection, gone: Gone) -> None:
    """Lines of hours under the name, what they were before and after, and what the entries are called."""
    hours, changes, sets = sql_table(WorkTime), sql_table(Change), sql_table(ChangeSet)
    here = hours.c.studio_id.in_(sorted(gone.studio_ids))
    every = list(connection.execute(select(hours.c.id).where(here)).scalars())
    images = select(changes).where(changes.c.table_name == hours.name, changes.c.row_id.in_(every))
    touched = set()
    for change in connection.execute(images).mappings().all():
        values = {name: _line_without(change[name], gone) for name in ("before", "after")}
        if any(values[name] != change[name] for name in values):
            touched.add(change["change_set_id"])
            connection.execute(update(changes).where(changes.c.id == change["id"]).values(**values))
    for table in (hours, sql_table(OwnFeed)):  # calendars of others may show their days
        named = table.c.studio_id.in_(sorted(gone.studio_ids)) & table.c.painter.in_(sorted(gone.own_names))
        connection.execute(update(table).where(named).values(painter=NAMELESS))
    for entry in connection.execute(select(sets).where(sets.c.id.in_(sorted(touched)))).mappings().all():
        label = exchanged_in(entry["label"], gone.own_names, NAMELESS)[:300]
        connection.execute(update(sets).where(sets.c.id == entry["id"]).values(label=label))


def _forget_content(connection: Connection, kind: type[StudioPlan] | type[Quote], gone: Gone) -> None:
    """Plans and promises tell whose sitting is whose."""
    table, changes = sql_table(kind), sql_table(Change)
    for row in connection.execute(select(table).where(table.c.studio_id.in_(sorted(gone.studio_ids)))).mappings().all():
        content = exchanged(row["content_json"], gone.own_names, NAMELESS)
        if content != row["content_json"]:
            connection.execute(update(table).where(table.c.id == row["id"]).values(content_json=content))
        images = select(changes).where(changes.c.table_name == table.name, changes.c.row_id == row["id"])
        for change in connection.execute(images).mappings().all():
            values = {name: _image_without(change[name], gone.own_names) for name in ("before", "after")}
            if any(values[name] != change[name] for name in values):
                connection.execute(update(changes).where(changes.c.id == change["id"]).values(**values))


def _forget_events(connection: Connection, gone: Gone) -> None:
    """What happened to people: their own account's goes, the studios' stays and can no longer be taken back."""
    events = sql_table(PeopleEvent)
    own = events.c.person_id == gone.person_id
    connection.execute(delete(events).where(own, events.c.studio_id.is_(None)))
    query = select(events).where(or_(own, events.c.studio_id.in_(sorted(gone.studio_ids))))
    for event in connection.execute(query).mappings().all():
        is_theirs = event["person_id"] == gone.person_id or event["subject_uid"] in gone.memberships
        names = gone.names if is_theirs else gone.own_names
        values = {
            "actor": NAMELESS if _named(event["actor"]) in names else event["actor"],
            "label": exchanged_in(event["label"], names, NAMELESS)[:300],
        }
        if is_theirs:
            values |= {"person_id": None, "what": None, "subject_uid": None}
        connection.execute(update(events).where(events.c.id == event["id"]).values(**values))


def _forget_invitations(connection: Connection, gone: Gone) -> None:
    """Those that they made or that were meant for them, open or not."""
    invitations, events = sql_table(Invitation), sql_table(PeopleEvent)
    query = select(invitations).where(invitations.c.studio_id.in_(sorted(gone.studio_ids)))
    for row in connection.execute(query).mappings().all():
        if _is_own(row["made_by"], gone) or row["meant_for"] in gone.own_names:
            told = events.c.subject_uid == row["uid"]
            connection.execute(update(events).where(told).values(what=None, subject_uid=None))
            connection.execute(delete(invitations).where(invitations.c.id == row["id"]))


def _is_own(actor: str, gone: Gone) -> bool:
    return actor in gone.own_names or _named(actor) in gone.own_names


def _named(actor: str) -> str:
    """The person's name of who did something, without the token by which they did it."""
    return _BY_PROGRAM.sub("", actor)


def _line_without(image: Mapping[str, Any] | None, gone: Gone) -> dict[str, Any] | None:
    if image is None or image.get("painter") not in gone.own_names:
        return None if image is None else dict(image)
    return {**image, "painter": NAMELESS}


def _image_without(image: Mapping[str, Any] | None, names: Iterable[str]) -> dict[str, Any] | None:
    if image is None:
        return None
    return {**image, "content_json": exchanged(image.get("content_json"), names, NAMELESS)}
