"""One sending of a program, told by its key: what an earlier one of the same key did, and a key that was used before.

A key has two halves with a dot between them: which sending it is, and what was sent.
"""

from sqlalchemy import select
from sqlmodel import Session, col

from server.services.access import Actor, allow
from server.services.errors import Invalid
from server.services.unit import Unit
from server.store.tables import Change, ChangeSet, Invitation, OwnFeed, StudioRecord

KEY_FIELD = "Idempotency-Key"
ANOTHER = "This key came before with another request. Take a new one."


def refuse_key_of_another(session: Session, actor: Actor, key: str | None) -> None:
    """Raises ``Invalid`` where the same key came before with something else."""
    if key is None:
        return
    allow(actor, "read", None)
    which = key.partition(".")[0]
    query = select(col(ChangeSet.command_key)).where(
        col(ChangeSet.studio_id) == actor.studio_id, col(ChangeSet.command_key).like(f"{which}.%")
    )
    if any(each != key for each in session.scalars(query)):
        raise Invalid.at(KEY_FIELD, ANOTHER)


def refuse_key_of_another_row(
    session: Session, actor: Actor, kind: type[Invitation | OwnFeed], key: str | None
) -> None:
    """The same for rows that no history holds, and that keep the key of their sending themselves."""
    if key is None:
        return
    allow(actor, "read", None)
    which = key.partition(".")[0]
    query = select(col(kind.made_by_key)).where(
        col(kind.studio_id) == actor.studio_id, col(kind.made_by_key).like(f"{which}.%")
    )
    if any(each != key for each in session.scalars(query)):
        raise Invalid.at(KEY_FIELD, ANOTHER)


def sent_before(session: Session, actor: Actor, key: str | None) -> bool:
    """Whether the same request came before: then what takes long is not worked out again."""
    if key is None:
        return False
    allow(actor, "read", None)
    query = select(col(ChangeSet.id)).where(
        col(ChangeSet.studio_id) == actor.studio_id, col(ChangeSet.command_key) == key
    )
    return session.scalars(query.limit(1)).first() is not None


def added_before(work: Unit, kind: type[StudioRecord]) -> list[str]:
    """The uids of the records that an earlier sending of the same request added, in the order they were added."""
    query = (
        select(col(kind.uid))
        .join(Change, col(Change.row_id) == col(kind.id))
        .join(ChangeSet, col(ChangeSet.id) == col(Change.change_set_id))
        .where(
            col(ChangeSet.uid) == work.change_uid,
            col(Change.table_name) == kind.__tablename__,
            col(Change.before).is_(None),
        )
        .order_by(col(Change.position))
    )
    return list(work.session.scalars(query))
