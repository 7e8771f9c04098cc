"""The plan that the demo's painter took this morning, and a commission somebody asked about."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from server.services import planning_make, planning_plans, planning_promise, quote_records, stack_plans
from server.services.access import Actor
from server.services.planning_asked import Effort, PlanMake
from server.services.planning_promise import PromiseAsk
from server.services.unit import unit
from server.store.db import Database

LIMITS = PlanMake(easels=3, rack_places=12)
MOVES = 150  # of the search: the same every time, and soon done
STACK = "Grisaille"  # how the label of the stack begins
WANTED_IN_D = 110


def plan(db: Database, actor: Actor, now: datetime, zone: ZoneInfo) -> None:
    """Make a plan of all open panels and take it."""
    with db.read() as session:
        asked = planning_make.read(session, actor, LIMITS, now, zone)
    content = planning_make.work_out(asked, Effort(moves=MOVES))
    with unit(db, actor, label="Made a plan", now=now) as work:
        uid = planning_plans.propose(work.session, actor, content).uid
    with unit(db, actor, label="Took the plan: its days stand in the calendar", now=now) as work:
        planning_plans.accept(work.session, actor, uid)


def quote(db: Database, actor: Actor, place_uid: str, now: datetime, zone: ZoneInfo) -> None:
    """Ask about a commission, and keep the answer."""
    with db.read() as session:
        stacks = stack_plans.all_open(session, actor)
    stack = next((one for one in stacks if one.label.startswith(STACK)), stacks[0])
    command = PromiseAsk(
        title="The ferry landing",
        for_whom="an invented harbour office",
        width_cm=50,
        height_cm=40,
        stack_uid=stack.uid,
        place_uid=place_uid,
        finish="temporary_varnish",
        wanted_on=now.astimezone(zone).date() + timedelta(days=WANTED_IN_D),
    )
    content = planning_promise.answer(planning_promise.read(db, actor, command, now, zone))
    with unit(db, actor, label=f"Worked out a date for “{command.title}”", now=now) as work:
        quote_records.keep(work.session, actor, command, content)
