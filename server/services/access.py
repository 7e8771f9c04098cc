"""Who may do what: the one place that decides.

The threat: a record of one studio read or changed from another. To a stranger such a record does not exist, so the
answer is ``NotFound``, never "forbidden".
"""

from dataclasses import dataclass
from typing import Literal, Protocol

from server.services.errors import NotFound

Action = Literal["read", "create", "update", "archive", "restore", "undo"]


@dataclass(frozen=True, slots=True)
class Actor:
    """The person acting, in the studio they act in. ``name`` is what the history shows."""

    name: str
    studio_id: int


class OfStudio(Protocol):
    """Anything that belongs to one studio."""

    studio_id: int


def allow(actor: Actor, action: Action, record: OfStudio | None) -> None:
    """Return when ``actor`` may do ``action``; ``record`` None asks about the actor's own studio at large.

    Raises ``NotFound`` for a record of another studio. Everybody in a studio may do everything in it so far, so
    ``action`` does not weigh in yet; every service names it all the same.
    """
    if record is not None and record.studio_id != actor.studio_id:
        raise NotFound
