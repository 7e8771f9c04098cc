"""A plan that was made for a change, left aside: what the painter chose for its sake is taken back with it.

A plan notes the entries of the history that were chosen for it: an applied option, a day left free. One that takes its
place while it waits notes them too. A lost day only happened: it is noted apart, stays, and is told.
"""

from collections.abc import Callable, Collection
from typing import TypeVar

from sqlmodel import Session

from server.services import history, planning_plans
from server.services.access import Actor
from server.services.errors import Refused
from server.services.planning_plans import CHOSEN, FACTS
from server.store.tables import StudioPlan

Answer = TypeVar("Answer")


class StaysAsItIs(Exception):
    """Something that was chosen cannot be taken back; the unit that asked for it is to be rolled back."""

    def __init__(self, change_uid: str) -> None:
        super().__init__(change_uid)
        self.change_uid = change_uid


def keep_things(session: Session, actor: Actor, uid: str, staying: Collection[str] = ()) -> StudioPlan:
    """Put a plan away that was only looked at, and take back what was chosen for it, the latest first; pins that were
    let go with it are held again.

    ``staying``: entries of the history that are left as they are. A plan that was put away already changes nothing.
    Raises ``Refused`` for one that was taken meanwhile, and ``StaysAsItIs`` where one more entry has to stay.
    """
    was_waiting = planning_plans.is_waiting(session, actor, uid)
    row = planning_plans.dismiss(session, actor, uid)
    chosen = (row.content_json or {}).get(CHOSEN, ()) if was_waiting else ()
    for change_uid in reversed(chosen):
        if change_uid in staying:
            continue
        try:
            history.take_back(session, actor, change_uid, but_for=("studio_plan",))
        except Refused as fault:
            raise StaysAsItIs(change_uid) from fault
        planning_plans.pin_again(session, actor, change_uid)
    return row


def facts_of(row: StudioPlan) -> list[str]:
    """The entries of the history of what happened, for which a plan was made; they stay whatever becomes of it."""
    return list((row.content_json or {}).get(FACTS, ()))


def as_far_as_can_be(do: Callable[[Collection[str]], Answer]) -> Answer:
    """What ``do`` answers, which is a whole unit of work with `keep_things` in it: tried again with one more entry
    that stays, until the rest can be taken back."""
    staying: list[str] = []
    while True:
        try:
            return do(tuple(staying))
        except StaysAsItIs as found:
            staying.append(found.change_uid)
