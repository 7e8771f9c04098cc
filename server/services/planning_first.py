"""In a large studio a plan set right is answered with before everything that is told of it is worked out.

As soon as it is proved, it is kept to be looked at: when each sitting is, and what the plan changes. Its reasons, its
odds and what would help a late panel are worked out after that, by the same process from the same plan, and entered
in it as if they had been there from the beginning: that is no change of its own in the history, which tells of what
people did. Where other waits for the rules turn out to be worth more, the plan with them takes its place while it
waits.
"""

import logging
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import AbstractContextManager
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from threading import Event, Thread
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlmodel import Session, col

from server.planning.schedule import threads
from server.planning.schedule.repair import search_s
from server.services import planning_make, planning_quiet, records
from server.services.access import Actor
from server.services.errors import ServiceError
from server.services.images import sql_table
from server.services.plan_reading import FOLLOWS
from server.services.planning_ahead import Changed, Later, asked_after
from server.services.planning_asked import Effort, Made
from server.services.planning_make import QUICK_S, content_of, first_content_of
from server.services.planning_quiet import QUIET, Begun
from server.services.planning_sound import sound
from server.services.search_pool import SEARCHES, Ears
from server.services.search_worker import Part
from server.services.unit import Unit
from server.store.tables import Change, StudioPlan

FOLLOWS_WITHIN = timedelta(minutes=2)  # else the process that worked it out has ended; far more than it ever takes
LARGE = 40  # panels; what a smaller studio's plan is told with is there as soon
log = logging.getLogger("umberday.searches")
Content = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Rest:
    """``whole``: the first plan with all that is told of it; ``better``: the one that is worth more, if any."""

    whole: Content
    better: Content | None


@dataclass(slots=True)
class Following:
    """A plan of which the rest is being worked out. ``kept``: as what the first part was kept; None: it was not."""

    first: "Future[Content]" = field(default_factory=Future)
    kept: "Future[Begun | None]" = field(default_factory=Future)
    is_over: Event = field(default_factory=Event)

    def hear(self, told: Any) -> bool:
        if isinstance(told, Part) and not self.first.done():
            self.first.set_result(told.value)
        return not (self.kept.done() and self.kept.result() is None)


@dataclass(frozen=True, slots=True)
class Answered:
    """A plan to be kept, whole or its first part. Of every one it is to be said as what it was kept, or ``let_go``."""

    content: Content
    following: Following | None = None

    def kept(self, begun: Begun) -> None:
        """It is kept: what follows is entered there, and then a better one is looked for."""
        if self.following is None:
            QUIET.begin(begun)
        else:
            FIRSTS.note(begun.actor.studio_id, self.following)
            self.following.kept.set_result(begun)

    def let_go(self) -> None:
        """It is not kept, unless it was."""
        if self.following is not None and not self.following.kept.done():
            self.following.kept.set_result(None)


class Firsts:
    """Answers with the first part where a studio has so many panels; off until it is told how many."""

    def __init__(self, least: int | None = None) -> None:
        self.least = least
        self._last: dict[int, Following] = {}

    def note(self, studio_id: int, following: Following) -> None:
        self._last[studio_id] = following

    def is_running(self, studio_id: int) -> bool:
        """Whether the rest of the studio's last plan is being worked out."""
        last = self._last.get(studio_id)
        return last is not None and not last.is_over.is_set()

    def wait(self, studio_id: int, seconds: float) -> bool:
        """Whether that is over within so long."""
        last = self._last.get(studio_id)
        return last is None or last.is_over.wait(seconds)

    def of(self, later: Later) -> Answered:
        """The plan, or its first part. Raises what comes of the search before."""
        if self.least is None or len(later.reading.board.panels) < self.least:
            return Answered(planning_make.worked_out_apart(later.asked(), Effort(seconds=QUICK_S)))
        following = Following()
        Thread(target=_run, args=(following, later), name="following", daemon=True).start()
        return Answered(following.first.result(), following)


FIRSTS = Firsts()


def may_follow(studio_id: int, made_at: datetime, now: datetime) -> bool:
    """Whether the rest of a plan is being worked out, in this process or, as far as can be known, in another one."""
    return FIRSTS.is_running(studio_id) or now - made_at < FOLLOWS_WITHIN


def plan_first(
    unit_: Callable[[], AbstractContextManager[Unit]],
    change: Callable[[Session], Changed],
    actor: Actor,
    when: tuple[datetime, ZoneInfo],
) -> Answered | None:
    """`planning_ahead.plan_after`, where it is a large studio with the first part alone."""
    after = asked_after(unit_, change, actor, when)
    if after is None:
        return None
    later, noted = after
    answered = FIRSTS.of(later)
    return replace(answered, content={**answered.content, **noted})


def in_parts(later: Later, effort: Effort | None, told: Callable[[Any], bool]) -> Rest:
    """As a search process does it: tells the first part, then works out the rest. ``effort``: None is as long as a
    painter waits for it."""
    asked, firsts = later.asked(), list[Made]()
    effort = effort or Effort(seconds=search_s(threads.allowed()))

    def first(made: Made) -> None:
        firsts.append(made)
        told(Part(first_content_of(made, asked)))

    best = sound(asked, replace(effort, told=told, first=first))
    [made] = firsts
    return Rest(content_of(made, asked), None if best is made else content_of(best, asked))


def _run(following: Following, later: Later) -> None:
    begun = None
    try:
        try:
            rest: Rest = SEARCHES.run(in_parts, later, None, ears=Ears(following.hear))
        except BaseException as fault:
            if not following.first.done():
                following.first.set_exception(fault)
                return
            log.warning("what is told of a plan was not worked out: %s", fault)
            return
        begun = following.kept.result()
        if begun is not None:
            begun = _enter(begun, rest)
    except ServiceError as fault:  # the plan is gone
        log.info("what is told of a plan was not entered: %s", fault.message)
    finally:
        following.is_over.set()
    if begun is not None:
        QUIET.begin(begun)


def _enter(begun: Begun, rest: Rest) -> Begun:
    """What follows, into the plan that was kept and all that the history knows of it; in its place the better one.
    Answers with what waits then."""
    with begun.db.write() as session:
        row = records.find(session, begun.actor, StudioPlan, begun.uid)
        row.content_json = _filled(row.content_json, rest.whole)
        of_it = (col(Change.table_name) == sql_table(StudioPlan).name, col(Change.row_id) == row.id)
        for change in session.scalars(select(Change).where(*of_it)):
            change.before, change.after = (_image(one, rest.whole) for one in (change.before, change.after))
    better = None if rest.better is None else planning_quiet.offer(begun, rest.better)
    return begun if better is None else replace(begun, uid=better)


def _filled(content: Content | None, whole: Content) -> Content | None:
    if not content or FOLLOWS not in content:
        return content
    return planning_make.with_what_follows(content, whole)


def _image(image: Content | None, whole: Content) -> Content | None:
    return None if image is None else {**image, "content_json": _filled(image["content_json"], whole)}
