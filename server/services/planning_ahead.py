"""A change and the plan that goes with it, in one unit of work, though the plan takes a while to be worked out.

The change is made once in a unit that is rolled back, so that the studio can be read as it would be; the search runs
while nothing is locked; then the change is made again, and kept together with the plan.
"""

from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.services import planning_make
from server.services.access import Actor
from server.services.planning_asked import Asked, Effort, PlanMake
from server.services.planning_asked_before import AskedBefore, asked_before, free_of
from server.services.planning_make import QUICK_S, Reading
from server.services.planning_plans import FOR
from server.services.unit import Unit


@dataclass(frozen=True, slots=True)
class Changed:
    """What was done, for the history, and what the plan with it is made with. ``held``: sittings that are to be at
    another time, by whom, and stay there. ``is_chosen``: done for the sake of the plan, so it goes when the plan is
    left; ``is_fact``: it only tells what happened, so it stays then, and is told. ``panel``: for which it was done; the
    sittings of that one may move as if they were new."""

    label: str
    settings: Mapping[str, Any]
    held: Mapping[str, tuple[datetime, str]] = field(default_factory=dict)
    is_chosen: bool = False
    is_fact: bool = False
    panel: str = ""

    def noted(self, change_uid: str) -> tuple[str, str]:
        """The entry of the history that it was, as a plan notes it: as chosen for it, as a fact; "" where it is not."""
        return change_uid if self.is_chosen else "", change_uid if self.is_fact else ""


def _with(asked: Asked, changed: Changed, before: AskedBefore) -> Asked:
    """The studio with what was asked for now and, where nothing else was, in a plan that waits."""
    free = free_of(asked, before.panels | {changed.panel})
    to_come = {one.row.uid for each in asked.found for one in each.layers.to_come}
    moves = {uid: at for uid, at in before.moves.items() if uid in to_come and uid not in changed.held}
    return replace(asked, room=asked.room.moving(free).holding_before(moves).holding(changed.held))


@dataclass(frozen=True, slots=True)
class Later:
    """What a plan is made from after a change, before it is found where the panels stand."""

    reading: Reading
    changed: Changed
    before: AskedBefore = field(default_factory=AskedBefore)

    def asked(self) -> Asked:
        return _with(self.reading.asked(), self.changed, self.before)


class _NotKept(Exception):
    """Leaves a unit of work so that nothing of it stays."""


def plan_after(
    unit: Callable[[], AbstractContextManager[Unit]],
    change: Callable[[Session], Changed],
    actor: Actor,
    when: tuple[datetime, ZoneInfo],
) -> dict[str, Any] | None:
    """The plan as it would be after ``change``, with what was asked for in one that waits; None where the unit's form
    was sent before. What the change raises comes through."""
    after = asked_after(unit, change, actor, when)
    if after is None:
        return None
    later, noted = after
    return {**planning_make.worked_out_apart(later.asked(), Effort(seconds=QUICK_S)), **noted}


def asked_after(
    unit: Callable[[], AbstractContextManager[Unit]],
    change: Callable[[Session], Changed],
    actor: Actor,
    when: tuple[datetime, ZoneInfo],
) -> tuple[Later, dict[str, Any]] | None:
    """What that plan is made from, and what is noted in it."""
    found: list[Later] = []
    done_for: list[str] = []
    with suppress(_NotKept), unit() as work:
        if work.repeated:
            return None
        changed = change(work.session)
        command = PlanMake.model_validate(changed.settings)
        reading = planning_make.reading_changed(work.session, actor, command, *when)
        found.append(Later(reading, changed, asked_before(work.session, actor)))
        done_for.extend([changed.panel] if changed.panel else [])
        raise _NotKept
    return found[0], {FOR: done_for}
