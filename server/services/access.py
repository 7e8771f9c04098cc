"""Who may do what: the one place that decides.

The threats: a record of one studio read or changed from another, and a change by somebody whose role does not have it.
To a stranger a record does not exist, so the answer is ``NotFound``, never "forbidden"; a member without the role is
told so (``Forbidden``). What each role may is the table in ``roles.py``. ``allow`` asks before a service begins,
and a unit of work asks ``allow_change`` again for every row that was changed in the end.
"""

from dataclasses import dataclass
from typing import Any, Literal, Protocol

from server.services.errors import Forbidden, NotFound
from server.services.roles import MAY, OF_TABLE, Permission, permission_for
from server.store.tables import Role, Table

# "hold": let nobody else change a record while something that hangs on it is changed; it takes no more than to look.
Action = Literal["read", "hold", "create", "update", "archive", "restore", "undo"]


@dataclass(frozen=True, slots=True)
class Actor:
    """The person acting, in the studio they act in. ``name`` is what the history shows.

    ``role``: on a single-user install the painter is the owner. ``person_id``: whose account it is, None where nobody
    has one.
    """

    name: str
    studio_id: int
    role: Role = "owner"
    person_id: int | None = None

    def may(self, permission: Permission) -> bool:
        return permission in MAY[self.role]


class OfStudio(Protocol):
    """A row of a table that belongs to one studio."""

    studio_id: int


def allow(actor: Actor, action: Action, record: OfStudio | None, kind: type[Table] | None = None) -> None:
    """Return when ``actor`` may do ``action``; ``record`` None asks about the actor's own studio at large, or, with
    ``kind``, about a record that is to be made.

    Raises ``NotFound`` for a record of another studio, ``Forbidden`` where the role does not have the action.
    """
    if record is not None and record.studio_id != actor.studio_id:
        raise NotFound
    require(actor, "look")
    if action == "undo":
        require(actor, "undo")
    elif action not in {"read", "hold"}:
        of = type(record) if record is not None else kind
        if of is not None:
            allow_change(actor, _name(of))
        elif not any(actor.may(permission) for permission in ("paint", *OF_TABLE.values())):
            raise Forbidden


def allow_change(actor: Actor, table: str) -> None:
    """Return when the actor's role may change rows of a table. Raises ``Forbidden``."""
    require(actor, permission_for(table))


def require(actor: Actor, permission: Permission) -> None:
    """Return when the actor's role has ``permission``. Raises ``Forbidden``."""
    if not actor.may(permission):
        raise Forbidden


def _name(kind: type[Any]) -> str:
    return str(kind.__table__.name)
